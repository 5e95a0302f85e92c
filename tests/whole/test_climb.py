"""The climb gives the air back: a recovered profile against the real sounding that the balloon flew through."""

import csv
from importlib import resources

import numpy as np
import pytest

from ground.physics.atmosphere import geopotential_height_m

SOUNDING = "praha-libus-2007-11-20-1115z.csv"  # see SOURCES.md beside it

# What the outside thermometer promises: its noise and the ADC's steps (0.1 K, two standard deviations), the
# divider's tolerance is zero in the simulation. The lag is 6 s in dense air, more in thin air.
SENSOR_ERROR_K = 0.3
LONGEST_LAG_S = 60.0


def table(demo, name):
    with open(demo[0] / "recovered" / f"{name}.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return {key: np.array([float(r[key]) if r[key] else np.nan for r in rows]) for key in rows[0] if "utc" not in key and key != "evidence"}


@pytest.fixture(scope="module")
def levels():
    with (resources.files("onboard.simulator.soundings") / SOUNDING).open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["temperature_degC"]]
    return (
        np.array([float(row["geopotential_height_m"]) for row in rows]),
        np.array([float(row["temperature_degC"]) for row in rows]),
        np.array([float(row["pressure_hPa"]) for row in rows]),
    )


@pytest.fixture(scope="module")
def climb(demo, summary):
    air, fix, pressure = (table(demo, name) for name in ("air", "fix", "pressure"))
    t = air["seconds_since_launch"]
    known = ~np.isnan(fix["height_m"])
    burst_s = summary["statements"]["burst"]["tick_ms"] / 1000 - summary["statements"]["launch"]["tick_ms"] / 1000
    climbing = (t > 30) & (t < burst_s)
    height = np.interp(t, fix["seconds_since_launch"][known], fix["height_m"][known])
    good = ~np.isnan(pressure["pressure_hPa"])
    hectopascal = np.interp(t, pressure["seconds_since_launch"][good], pressure["pressure_hPa"][good])
    return t[climbing], height[climbing], air["temperature_degC"][climbing], hectopascal[climbing]


def test_the_temperature_profile_is_the_soundings(climb, levels):
    t, height, temperature, _ = climb
    heights, temperatures, _ = levels
    real = np.interp(geopotential_height_m(height), heights, temperatures)
    inside = height < heights[-1]
    error = (temperature - real)[inside]
    # A lagging thermometer is behind by lag times the rate at which the air around it changes.
    change = np.abs(np.gradient(real, t))[inside]
    widest = np.convolve(change, np.ones(61) / 61, "same")  # the lag remembers a minute
    allowed = SENSOR_ERROR_K + LONGEST_LAG_S * np.maximum(change, widest)
    assert np.mean(np.abs(error) < allowed) > 0.99
    assert abs(np.median(error)) < SENSOR_ERROR_K


def test_the_coldest_air_is_found_where_it_was(climb, levels):
    _, height, temperature, _ = climb
    heights, temperatures, _ = levels
    coldest = np.nanargmin(temperature)
    assert temperature[coldest] == pytest.approx(temperatures.min(), abs=1.5)  # the lag fills the minimum up
    assert geopotential_height_m(height[coldest]) == pytest.approx(heights[temperatures.argmin()], abs=400)


def test_the_pressure_profile_is_the_soundings(climb, levels):
    _, height, _, hectopascal = climb
    heights, _, pressures = levels
    real = np.exp(np.interp(geopotential_height_m(height), heights, np.log(pressures)))
    inside = height < heights[-1]
    # 6 m of height noise and the chip's 1.5 Pa; the sounding's own closure is 7 m at 32 km.
    tolerance = 0.004 * real + 0.06
    assert np.mean(np.abs(hectopascal - real)[inside] < tolerance[inside]) > 0.98
