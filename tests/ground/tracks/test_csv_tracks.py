"""CSV tables of positions, in the many ways in which programs write them."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ground.errors import LoftbookError
from ground.tracks import read_track

# The same instant in each form: 2026-11-21T09:30:05Z is 1795253405 s since 1970 (POSIX.1-2017, 4.16, "Seconds Since
# the Epoch": 86400 s a day; computed with GNU date).
INSTANT = np.datetime64("2026-11-21T09:30:05")


def written(tmp_path, text, name="pocket.csv", encoding="utf-8"):
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    return path


@pytest.mark.parametrize("head, cells", [
    ("time,lat,lon,alt (m)", "2026-11-21T09:30:05Z,47.5,19.25,1234"),
    ("Time;Latitude;Longitude;Altitude [m]", "2026-11-21 10:30:05+01:00;47,5;19,25;1234"),
    ("Timestamp\tLAT\tLNG\tHeight_m", "20261121T093005Z\t47.5\t19.25\t1234"),
    ("epoch,longitude,latitude,elevation_m", "1795253405,19.25,47.5,1234"),
    ("unix_ms,longitude,latitude,elevation_m", "1795253405000,19.25,47.5,1234"),
    ("date,time,lat,lon,altitude_ft", "21/11/2026,09:30:05,N47.5,19.25E,4048.556430"),  # 1 ft is 0.3048 m
    ("Date;UTC time;lat;long;height (feet)", "21.11.2026;9:30:05;47,5;19,25;4048,556430"),
    ("gpsTime|gpsLatitude|gpsLongitude|gpsAltitude m", "2026/11/21 09:30:05 AM|47.5|19.25|1 234"),
    ("received time,fix time,lat,lon,speed,alt m", "2026-11-21T10:00:00Z,2026-11-21T09:30:05Z,47.5,19.25,8,1234"),
])  # fmt: skip
def test_many_headings_and_ways_to_write_say_the_same(tmp_path, head, cells):
    track = read_track(written(tmp_path, f"{head}\n{cells}\n"))
    assert len(track) == 1 and track.name == "pocket"
    assert track.time_utc[0] == INSTANT
    assert (track.latitude_deg[0], track.longitude_deg[0]) == (47.5, 19.25)
    assert track.height_m[0] == pytest.approx(1234.0, abs=1e-4)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_remarks_before_the_heading_and_encodings_are_no_matter(tmp_path, encoding):
    text = "Export für den Ballon\r\nsecond remark\r\n\r\ntime,lat,lon\r\n2026-11-21T09:30:05Z,-47.5,-19.25\r\n"
    track = read_track(written(tmp_path, text, encoding=encoding))
    assert (track.latitude_deg[0], track.longitude_deg[0], track.time_utc[0]) == (-47.5, -19.25, INSTANT)
    assert np.isnan(track.height_m[0])


def test_what_is_no_position_is_left_out_and_said(tmp_path):
    rows = [
        "2026-11-21T09:31:05,47.6,19.3,100", "2026-11-21T09:30:05,47.5,19.25,90",  # out of order
        "2026-11-21T09:31:05,47.6,19.3,100", "2026-11-21T09:32:05,0,0,0", "2026-11-21T09:33:05,,19,10",
        ",47,19,10", "2026-11-21T09:34:05,470,19,10", "1970-01-01T00:00:00,47,19,10", "2026-11-2",
    ]  # fmt: skip
    track = read_track(written(tmp_path, "time,lat,lon,alt\n" + "\n".join(rows)))
    assert track.latitude_deg.tolist() == [47.5, 47.6] and (np.diff(track.time_utc) > np.timedelta64(0)).all()
    notes = " ".join(track.notes)
    for said in ("not in order", "same time", "are 0", "no latitude", "no time", "UTC was assumed", "metres were"):
        assert said in notes


@pytest.mark.parametrize("text, said", [
    ("time,lat,lon\n2026-11-21T09:30:05Z,47°30.5',19\n", "line 2, column lat: .*degrees and minutes"),
    ("time,lat,lon\n2026-11-21T09:30:05Z,47 30.5,19\n", "degrees and minutes"),
    ("time,lat,lon\n2026-11-21T09:30:05Z,4730.5,1915.2\n", "line 2: 4730.5, 1915.2 .*decimal degrees"),
    ("time,lat,lon\n09:30:05,47.5,19\n", "line 2, column time: '09:30:05' has no date"),
    ("time,lat,lon\n3/4/2026 09:30:05,47.5,19\n", "day/month or month/day"),
    ("time,lat,lon\n2026-13-21 09:30:05,47.5,19\n", "is no date"),
    ("time,lat,lon\n2026-11-21 09:30:05,east,19\n", "line 2, column lat: 'east' is no number"),
    ("lat,lon\n47.5,19\n", "no heading names a time"),
    ("a,b,c\n1,2,3\n", "call the columns time, latitude, longitude, height_m"),
    ("", "call the columns"),
    ("time,lat,lon\n", "holds no row with time and position"),
    ("time,lat,lon\n2026-11-21T09:30:05Z,\0,19\n", "is no text"),
    ('time,lat,lon\n2026-11-21T09:30:05Z,"' + "9" * 200_000 + '",19\n', "line 2"),
])  # fmt: skip
def test_what_cannot_be_read_is_one_line_that_says_where(tmp_path, text, said):
    path = written(tmp_path, text)
    with pytest.raises(LoftbookError, match=said) as error:
        read_track(path)
    assert str(error.value).startswith(str(path)) and "\n" not in str(error.value)


def test_a_file_that_is_not_there_or_too_large_is_refused(tmp_path):
    with pytest.raises(LoftbookError, match="cannot be read"):
        read_track(tmp_path / "none.csv")
    large = tmp_path / "large.csv"
    with open(large, "wb") as file:
        file.truncate(100_000_001)  # sparse
    with pytest.raises(LoftbookError, match="larger than 100 MB"):
        read_track(large)


def test_month_first_dates_are_known_by_a_day_beyond_twelve(tmp_path):
    text = "time,lat,lon\n11/09/2026 09:30:05,47.5,19\n11/21/2026 09:30:05,47.6,19\n"
    track = read_track(written(tmp_path, text))
    assert track.time_utc[1] == INSTANT and str(track.time_utc[0])[:10] == "2026-11-09"


CELL = st.one_of(
    st.text(max_size=12), st.floats().map(str), st.integers(-(10**18), 10**18).map(str),
    st.datetimes().map(str), st.sampled_from(["lat", "lon", "time", "date", "47,5", "0", "", "alt ft", '"', "<a>"]),
)  # fmt: skip


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.lists(CELL, min_size=3, max_size=5), max_size=6), st.sampled_from(",;\t"), st.booleans())
def test_any_table_gives_a_track_or_one_line(tmp_path, rows, delimiter, has_heading):
    rows = [["time", "lat", "lon"], *rows] if has_heading else rows
    path = tmp_path / "any.csv"
    path.write_text("\n".join(delimiter.join(row) for row in rows), "utf-8", "surrogatepass")
    try:
        track = read_track(path)
    except LoftbookError as error:
        assert len(str(error).splitlines()) == 1
    else:
        assert (np.diff(track.time_utc) > np.timedelta64(0)).all() and (np.abs(track.latitude_deg) <= 90).all()
