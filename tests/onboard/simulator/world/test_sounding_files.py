"""Reading soundings, real and broken."""

import numpy as np
import pytest

from onboard.simulator.world.sounding import SoundingError, find_sounding, read_sounding, shipped_soundings

HEADER = (
    "pressure_hPa,geopotential_height_m,temperature_degC,dew_point_degC,"
    "relative_humidity_percent,wind_from_deg,wind_speed_m_s"
)
GOOD = ["1000.0,100,15.0,10.0,,270,5.0", "900.0,1000,8.0,2.0,,280,7.0", "500.0,5600,-20.0,,,,"]


def write(folder, *rows, header=HEADER):
    path = folder / "small.csv"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


def test_all_real_soundings_are_read_whole(real_soundings):
    # Numbers of levels as counted by the people who prepared the files.
    levels = {"praha": 74, "lamont": 4176, "darwin": 3354, "koror": 77, "utqiagvik": 158, "south": 109}
    assert len(real_soundings) == len(levels)
    for path in real_soundings:
        sounding = read_sounding(path)
        assert len(sounding.geopotential_height_m) == levels[path.name.split("-")[0]]
        assert 200.0 > np.nanmax(sounding.wind_speed_m_s) > 5.0
        assert np.nanmin(sounding.temperature_k) > 180.0


def test_empty_fields_become_missing_values(tmp_path):
    sounding = read_sounding(write(tmp_path, *GOOD, ",6000,,,,290,9.0"))
    assert sounding.pressure_pa[:3] == pytest.approx([100000.0, 90000.0, 50000.0])
    assert np.isnan(sounding.wind_speed_m_s).tolist() == [False, False, True, False]
    assert np.isnan(sounding.temperature_k).tolist() == [False, False, False, True]


def test_levels_without_a_height_are_skipped(tmp_path):
    assert len(read_sounding(write(tmp_path, GOOD[0], "950.0,,12.0,,,,", *GOOD[1:])).pressure_pa) == 3


@pytest.mark.parametrize(
    "row, words",
    [
        ("900.0,1000,warm,,,,", "line 3: temperature_degC must be a number from -150 to 70, not 'warm'"),
        ("900.0,1000,nan,,,,", "line 3: temperature_degC"),
        ("90000.0,1000,8.0,,,,", "line 3: pressure_hPa"),
        ("900.0,1000,8.0,,,361,5.0", "line 3: wind_from_deg"),
        ("900.0,100,8.0,,,,", "line 3: geopotential_height_m 100 is not above"),
        ("1001.0,1000,8.0,,,,", "line 3: pressure_hPa 1001 is above that of a lower level"),
        ("900.0,1000", "line 3: the row ends before column temperature_degC"),
    ],
)
def test_a_bad_row_is_named_by_file_and_line(tmp_path, row, words):
    path = write(tmp_path, GOOD[0], row)
    with pytest.raises(SoundingError) as error:
        read_sounding(path)
    assert str(error.value).startswith(f"{path}, line 3")
    assert words in str(error.value)
    assert "\n" not in str(error.value)


def test_files_that_are_no_sounding_are_refused(tmp_path):
    with pytest.raises(SoundingError, match="cannot be read"):
        read_sounding(tmp_path / "absent.csv")
    with pytest.raises(SoundingError, match="cannot be read"):
        read_sounding(tmp_path)
    with pytest.raises(SoundingError, match="column pressure_hPa is missing"):
        read_sounding(write(tmp_path, "1,2", header="a,b"))
    with pytest.raises(SoundingError, match="needs 2 or more levels"):
        read_sounding(write(tmp_path))
    with pytest.raises(SoundingError, match="needs 1 or more levels with wind"):
        read_sounding(write(tmp_path, "1000.0,100,15.0,,,,", "900.0,1000,8.0,,,,"))
    binary = tmp_path / "binary.csv"
    binary.write_bytes(b"\xff\xfe\x00\x80" * 100)
    with pytest.raises(SoundingError, match="UTF-8"):
        read_sounding(binary)


def test_a_file_beside_the_mission_comes_before_a_shipped_one(tmp_path):
    name = shipped_soundings()[0]
    assert len(read_sounding(find_sounding(name)).pressure_pa) > 3
    write(tmp_path, *GOOD).rename(tmp_path / name)
    assert len(read_sounding(find_sounding(name, tmp_path)).pressure_pa) == 3


@pytest.mark.parametrize("name", ["", "absent.csv", "../soundings"])
def test_an_unknown_sounding_is_answered_with_the_choices(tmp_path, name):
    with pytest.raises(SoundingError, match="praha-libus"):
        find_sounding(name, tmp_path)
