"""A real radiosonde ascent, as if our logger had flown it: what the analysis says against the sounding.

Data: tests/data/soundings (ARM user facility, Darwin 2006-01-19 23:16 UTC; see SOURCES.md there).
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from made_flight import START_UTC_MS, boot_log, ms5611_counts, pt1000_counts, records_of, recovered_of

from ground.statements import summarise
from ground.analyse.heights import build_heights
from ground.analyse.series import timelines
from ground.decode import decode_flight
from ground.physics.atmosphere import geometric_height_m

SOUNDING = Path(__file__).parents[2] / "data" / "soundings" / "darwin-2006-01-19-2316z.csv"
GROUND_S = 120  # waiting before the release, which a sounding leaves out


@pytest.fixture(scope="module")
def sounding():
    with open(SOUNDING, encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    names = (
        "time_s",
        "pressure_hPa",
        "geopotential_height_m",
        "temperature_degC",
        "latitude_deg",
        "longitude_deg",
    )
    return {name: np.array([float(row[name]) for row in rows]) for name in names}


def log_of(sounding, ceiling_m=1e9):
    first = {name: np.full(GROUND_S, column[0]) for name, column in sounding.items()}
    column = {name: np.concatenate([first[name], sounding[name]]) for name in sounding}
    time_s = np.concatenate([np.arange(GROUND_S), GROUND_S + sounding["time_s"]])
    height_m = geometric_height_m(column["geopotential_height_m"])
    tick_ms = (1000 * time_s).astype(int)
    d1, d2 = ms5611_counts(100 * column["pressure_hPa"])
    utc_ms = START_UTC_MS + tick_ms
    sees = height_m < ceiling_m
    return boot_log(
        {
            "pressure": records_of("pressure", tick_ms, pressure_counts=d1, temperature_counts=d2),
            "air": records_of("air", tick_ms, temperature_counts=pt1000_counts(column["temperature_degC"])),
            "fix": records_of(
                "fix", tick_ms, quality=sees.astype(int),
                day=utc_ms // 86_400_000, time_of_day=utc_ms % 86_400_000,
                latitude=np.where(sees, np.rint(column["latitude_deg"] * 5e6), -(2**31)),
                longitude=np.where(sees, np.rint(column["longitude_deg"] * 5e6), -(2**31)),
                height=np.where(sees, np.rint(height_m * 100), -(2**31)),
            ),
        }
    )  # fmt: skip


def test_the_analysis_says_what_the_sounding_says(sounding):
    log = log_of(sounding)
    said = summarise(decode_flight([log]), recovered_of([log]))["statements"]
    assert said["launch"]["tick_ms"] / 1000 == pytest.approx(GROUND_S, abs=3)
    assert said["burst"]["value"] is None and "before a burst" in said["burst"]["reason"]
    # The coldest level of the sounding: -88.1 degC at 17 536 geopotential metres.
    # It is a sharp point, which the smoothing of a noisy thermometer takes off by some tenths; the height that is
    # named has air as cold as that, since some hundred metres higher it is almost as cold.
    assert said["coldest_air"]["value"] == pytest.approx(-88.1, abs=0.3)
    assert abs(said["coldest_air"]["value"] + 88.1) < said["coldest_air"]["uncertainty"] < 1.5
    there = np.abs(geometric_height_m(sounding["geopotential_height_m"]) - said["coldest_air"]["height_m"]) < 60
    assert sounding["temperature_degC"][there].min() == pytest.approx(-88.1, abs=0.3)
    rise_m = geometric_height_m(sounding["geopotential_height_m"])
    mean = (rise_m[-1] - rise_m[0]) / sounding["time_s"][-1]
    assert said["climb_rate"]["value"] == pytest.approx(mean, rel=0.03)
    assert said["greatest_height"]["value"] == pytest.approx(rise_m.max(), abs=1)


def test_heights_above_a_ceiling_follow_the_soundings_own(sounding):
    """With fixes up to 12 km only, pressure and temperature carry on for 21 km more. The sounding's
    pressures are rounded to 0.1 hPa, 88 m at its top of 7.3 hPa; the humidity is neglected.
    """
    flight = decode_flight([log_of(sounding, ceiling_m=12_000)])
    heights = build_heights(timelines(flight)[0])
    assert "hypsometric" in heights.barometric.source
    true_m = geometric_height_m(sounding["geopotential_height_m"])
    found_m = np.interp(sounding["time_s"] + GROUND_S, heights.combined.time_s, heights.combined["height_m"])
    for top_m, allowed_m in ((20_000, 30), (28_000, 60), (33_000, 120)):
        part = (true_m > 12_000) & (true_m < top_m)
        assert np.abs(found_m - true_m)[part].max() < allowed_m
