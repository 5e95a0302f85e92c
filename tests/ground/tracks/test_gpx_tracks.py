"""GPX files: what the schema says, what gpxpy writes, and what no file should do."""

import gpxpy.gpx
import numpy as np
import pytest

from ground.errors import LoftbookError
from ground.tracks import read_track

HEAD = {
    "1.1": '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">',
    "1.0": '<gpx version="1.0" creator="t" xmlns="http://www.topografix.com/GPX/1/0">',
}
POINT = '<trkpt lat="47.5" lon="19.25"><ele>1234.5</ele><time>2026-11-21T09:30:05Z</time></trkpt>'


def written(tmp_path, text, name="pocket.gpx"):
    path = tmp_path / name
    path.write_text(text, "utf-8")
    return path


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_both_versions_of_gpx_are_read(tmp_path, version):
    # Topografix, GPX 1.1 schema documentation: lat and lon in decimal degrees WGS 84, ele in metres, time UTC.
    text = f'<?xml version="1.0" encoding="UTF-8"?>\n{HEAD[version]}<trk><trkseg>{POINT}</trkseg></trk></gpx>'
    track = read_track(written(tmp_path, text))
    assert (track.latitude_deg[0], track.longitude_deg[0], track.height_m[0]) == (47.5, 19.25, 1234.5)
    assert track.time_utc[0] == np.datetime64("2026-11-21T09:30:05") and track.name == "pocket"


def test_what_gpxpy_writes_comes_back(tmp_path):
    from datetime import datetime, timedelta, timezone

    gpx, zone = gpxpy.gpx.GPX(), timezone(timedelta(hours=1))
    for part in range(2):
        track = gpxpy.gpx.GPXTrack(name="Pocket receiver")
        segment = gpxpy.gpx.GPXTrackSegment()
        for minute in (1, 0):
            time = datetime(2026, 11, 21, 10 + part, 30 + minute, 5, 250_000, tzinfo=zone)
            segment.points.append(gpxpy.gpx.GPXTrackPoint(47 + minute / 10, 19 + part, time=time))
        track.segments.append(segment)
        gpx.tracks.append(track)
    track = read_track(written(tmp_path, gpx.to_xml()))
    assert track.name == "Pocket receiver" and len(track) == 4
    assert str(track.time_utc[0]) == "2026-11-21T09:30:05.250"
    assert (np.diff(track.time_utc) > np.timedelta64(0)).all()
    assert np.isnan(track.height_m).all() and "2 tracks; they were joined" in " ".join(track.notes)


@pytest.mark.parametrize("text, said", [
    ('<!DOCTYPE gpx [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>' + HEAD["1.1"] + "<name>&b;</name></gpx>", "DOCTYPE"),
    ('<?xml version="1.0"?><!doctype gpx SYSTEM "file:///etc/hostname"><gpx/>', "DOCTYPE"),
    (HEAD["1.1"] + "<trk>\n<trkseg>", "line 2"),
    (HEAD["1.1"] + '<trk><trkseg><trkpt lat="north" lon="19"/></trkseg></trk></gpx>', "no GPX that can be read"),
    (HEAD["1.1"] + '<trk><trkseg><trkpt lat="47" lon="19"/></trkseg></trk></gpx>', "no point with time"),
    (HEAD["1.1"] + "</gpx>", "no point with time"),
    ("<kml/>", "no "),
    ("<gpx" + " xmlns" * 10_000 + "/>", "not well-formed"),
])  # fmt: skip
def test_what_cannot_be_read_is_one_line(tmp_path, text, said):
    path = written(tmp_path, text)
    with pytest.raises(LoftbookError, match=said) as error:
        read_track(path)
    assert str(error.value).startswith(str(path)) and "\n" not in str(error.value)


def test_waypoints_do_where_there_is_no_track(tmp_path):
    text = HEAD["1.1"] + POINT.replace("trkpt", "wpt") + "</gpx>"
    track = read_track(written(tmp_path, text, "by-content.csv"))
    assert len(track) == 1 and "waypoint" in track.notes[0]
