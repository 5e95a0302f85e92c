"""The hypsometric equation on real soundings, whose heights were made by their own services."""

import csv
from pathlib import Path

import numpy as np
import pytest

from ground.physics.atmosphere import (
    hypsometric_heights_m,
    pressure_height_m,
    standard_pressure_pa,
    standard_temperature_k,
)
from ground.physics.moisture import saturation_vapour_pressure_pa, virtual_temperature_k

ROOT = Path(__file__).parents[3]
# File, half a unit of the last printed figure of its pressure (Pa), and its top (m). The heights
# in the files were made by the weather services. Sources of the files: SOURCES.md beside them.
SOUNDINGS = [
    ("onboard/simulator/soundings/praha-libus-2007-11-20-1115z.csv", 5.0, 31938),
    ("tests/data/soundings/lamont-oklahoma-2019-01-01-0532z.csv", 0.5, 24570),
    ("tests/data/soundings/darwin-2006-01-19-2316z.csv", 5.0, 32958),
]


def profile(name):
    with open(ROOT / name, encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    columns = ("pressure_hPa", "geopotential_height_m", "temperature_degC", "dew_point_degC")
    pressure, height, temperature, dew_point = (
        np.array([float(row[column]) for row in rows]) for column in columns
    )
    vapour_pa = saturation_vapour_pressure_pa(dew_point + 273.15)
    return pressure * 100.0, height, virtual_temperature_k(temperature + 273.15, vapour_pa, pressure * 100.0)


@pytest.mark.parametrize("name, half_unit_pa, top_m", SOUNDINGS)
def test_heights_from_pressure_close_on_the_soundings_own_heights(name, half_unit_pa, top_m):
    pressure_pa, height_m, virtual_k = profile(name)
    computed_m = hypsometric_heights_m(pressure_pa, virtual_k, height_m[0])
    assert height_m[-1] == pytest.approx(top_m, abs=1.0)
    # What the printed figures of the pressure are worth in metres: up to 48 m at 7 hPa.
    printed_m = half_unit_pa * 287.05 * virtual_k / (9.80665 * pressure_pa)
    assert np.all(np.abs(computed_m - height_m) < 12.0 + printed_m)
    # On average over the highest kilometres that rounding goes out. Geometric heights would be off
    # by 114 m (Lamont) and more, so this also shows that the files' heights are geopotential.
    highest = height_m > height_m[-1] - 4000.0
    assert abs(np.mean((computed_m - height_m)[highest])) < 15.0


def test_the_standard_atmosphere_is_reproduced_from_its_own_profile():
    heights_m = np.arange(0.0, 47001.0, 100.0)
    computed_m = hypsometric_heights_m(standard_pressure_pa(heights_m), standard_temperature_k(heights_m))
    np.testing.assert_allclose(computed_m, heights_m, atol=0.1)


def test_an_isothermal_layer_has_its_closed_form():
    # H = R T / g ln(p1 / p2) = 287.05287 * 250 / 9.80665 * ln 2, by hand.
    heights_m = hypsometric_heights_m([100000.0, 50000.0], [250.0, 250.0], 100.0)
    assert heights_m == pytest.approx([100.0, 100.0 + 5072.3], abs=0.1)


def test_a_falling_profile_gives_falling_heights():
    up = hypsometric_heights_m([1000.0, 800.0, 500.0], [220.0, 222.0, 225.0], 20000.0)
    down = hypsometric_heights_m([500.0, 800.0, 1000.0], [225.0, 222.0, 220.0], up[-1])
    np.testing.assert_allclose(down[::-1], up, atol=1e-9)


def test_a_missing_level_is_named():
    with pytest.raises(ValueError, match="level 1 has pressure nan"):
        hypsometric_heights_m([1000.0, np.nan, 900.0], [280.0, 279.0, 278.0])
    with pytest.raises(ValueError, match="arrays of one length"):
        hypsometric_heights_m([1000.0, 900.0], [280.0])


def test_pressure_height_and_real_height_differ_by_the_days_weather_only():
    # A real atmosphere is never the standard one, but never far: some 1.5 km at most up to 30 km.
    pressure_pa, height_m, _ = profile(SOUNDINGS[0][0])
    difference_m = pressure_height_m(pressure_pa) - height_m
    assert 10.0 < np.abs(difference_m).max() < 1500.0
