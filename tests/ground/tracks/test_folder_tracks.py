"""A capture of the link, recovered into a folder of its own, as a track."""

import pytest

from ground.errors import LoftbookError
from ground.tracks import read_track

FIXES = "utc,boot,tick_ms,latitude_deg,longitude_deg,height_m,quality,evidence\n"
BEACONS = "utc,boot,tick_ms,latitude_deg,longitude_deg,height_m,fix_age_s,evidence\n"


def test_fixes_count_and_beacons_where_no_fix_was_heard(tmp_path):
    (tmp_path / "fix.csv").write_text(
        FIXES + "2026-11-21T09:30:00.200Z,1,200,47.5,19.25,1000.5,1,proven\n"
        "2026-11-21T09:30:10.200Z,1,10200,,,,0,proven\n"
    )
    (tmp_path / "beacon.csv").write_text(
        BEACONS + "2026-11-21T09:30:01.500Z,1,1500,47.5,19.25,1000,1,proven\n"  # of the fix above
        "2026-11-21T09:30:41.500Z,1,41500,47.6,19.35,1150,11,proven\n"
        "2026-11-21T09:30:51.900Z,1,51900,47.6,19.35,1150,21,proven\n"  # the same fix, said again
        ",2,100,47.6,19.35,1150,21,proven\n"
    )
    track = read_track(tmp_path)
    assert [str(time) for time in track.time_utc] == ["2026-11-21T09:30:00.200", "2026-11-21T09:30:30.500"]
    assert track.latitude_deg.tolist() == [47.5, 47.6] and track.height_m.tolist() == [1000.5, 1150.0]
    assert track.name == tmp_path.name


def test_a_folder_without_positions_is_told_what_to_do(tmp_path):
    with pytest.raises(LoftbookError, match="no beacon.csv or fix.csv"):
        read_track(tmp_path)
    (tmp_path / "beacon.csv").write_text(BEACONS + ",1,1500,47.5,19.25,1000,1,proven\n")
    with pytest.raises(LoftbookError, match="together with the card"):
        read_track(tmp_path)
    (tmp_path / "beacon.csv").write_text(BEACONS + "2026-11-21T09:30:01.500Z,1,1500,north,east,high,1,proven\n")
    with pytest.raises(LoftbookError, match="no position in it has UTC"):  # a foreign log may hold words there
        read_track(tmp_path)
