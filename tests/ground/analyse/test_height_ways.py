"""Three heights of real soundings, and sensors' errors that are put into them and must be found again.

Data: tests/data/soundings (ARM user facility, Lamont and Darwin) and the simulator's Praha sounding; see SOURCES.md
beside them. Their heights were made by their services, so they stand for heights by satellites.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ground.analyse.height_ways import height_bands, height_ways
from ground.analyse.sensor_bias import sensor_bias
from ground.physics.atmosphere import geometric_height_m, standard_pressure_pa, standard_temperature_k
from ground.physics.moisture import saturation_vapour_pressure_pa

ROOT = Path(__file__).parents[3]
# Half a unit of the last printed figure of the pressure, hPa.
FILES = {
    "praha": ("onboard/simulator/soundings/praha-libus-2007-11-20-1115z.csv", 0.05),
    "lamont": ("tests/data/soundings/lamont-oklahoma-2019-01-01-0532z.csv", 0.005),
    "darwin": ("tests/data/soundings/darwin-2006-01-19-2316z.csv", 0.05),
}


def profile(name):
    """(geometric height m, pressure hPa, temperature K, vapour pressure hPa, half a printed unit hPa)."""
    path, half = FILES[name]
    with open(ROOT / path, encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    names = ("geopotential_height_m", "pressure_hPa", "temperature_degC", "dew_point_degC")
    height, pressure, celsius, dew = (np.array([float(row[n] or "nan") for row in rows]) for n in names)
    vapour = saturation_vapour_pressure_pa(dew + 273.15) / 100.0
    return geometric_height_m(height), pressure, celsius + 273.15, vapour, half


@pytest.mark.parametrize("name", FILES)
def test_own_air_closes_on_the_soundings_heights(name):
    # Integrated level by level the three close on their tops within +7, -3 and -18 m. Here levels are medians, and
    # a printed unit of the pressure is worth up to 48 m at 7 hPa.
    height, pressure, kelvin, vapour, half = profile(name)
    ways = height_ways(height, pressure, kelvin, vapour)
    off_m = ways.gnss_m - ways.hypsometric_m
    printed_m = half / ways.pressure_hpa * 29.27 * ways.virtual_k
    assert np.all(np.abs(off_m) < 25.0 + printed_m)
    _, less_standard, less_own, own_standard, levels = height_bands(ways)
    assert np.abs(less_own).max() < 60.0 < np.abs(less_standard).max()
    np.testing.assert_allclose(less_own + own_standard, less_standard, atol=25.0)
    assert levels.sum() == len(ways)


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("offset_hpa, warm_k", [(0.0, 0.0), (1.0, 0.0), (-0.7, 1.5)])
def test_errors_put_into_a_real_sounding_are_found(name, offset_hpa, warm_k):
    height, pressure, kelvin, vapour, half = profile(name)
    bias = sensor_bias(height_ways(height, pressure + offset_hpa, kelvin + warm_k, vapour))
    # The printed figures of Praha and Darwin have errors of their own.
    assert bias.offset_hpa == pytest.approx(offset_hpa, abs=bias.offset_uncertainty_hpa + half)
    assert bias.temperature_k == pytest.approx(warm_k, abs=bias.temperature_uncertainty_k)
    assert bias.offset_uncertainty_hpa < 0.3 and bias.temperature_uncertainty_k < 1.0


def test_an_offset_grows_with_height_as_the_hypsometric_equation_says():
    # 1 hPa too much near the ground of the standard atmosphere is 8.3 m (ISO 2533: 1 / (rho g) at sea level), and
    # at 30 km, where it has 11.97 hPa and 226.65 K, R T / g / p = 554 m for a small offset; here the tie to the
    # lowest fixes takes away some of it.
    height = np.arange(0.0, 30_001.0, 50.0)
    pressure, kelvin = standard_pressure_pa(height) / 100.0, standard_temperature_k(height)
    ways = height_ways(geometric_height_m(height), pressure + 0.1, kelvin, np.zeros(len(height)))
    off_m = ways.gnss_m - ways.hypsometric_m
    # Geometric metres are (1 + 30/6357)^2 = 1.0095 times the geopotential ones.
    assert off_m[-1] == pytest.approx(0.1 * (29.27 * 226.65 / 11.97 - 8.3) * 1.0095, rel=0.03)
    assert abs(off_m[3]) < 1.0
    assert ways.standard_m[3] - ways.gnss_m[3] == pytest.approx(-0.83, abs=0.3)


def test_dry_and_damp_air_without_a_humidity_chip_stay_within_the_uncertainty():
    height, pressure, kelvin, _, half = profile("darwin")  # the monsoon
    bias = sensor_bias(height_ways(height, pressure, kelvin))
    assert abs(bias.offset_hpa) < bias.offset_uncertainty_hpa + half
    assert abs(bias.temperature_k) < bias.temperature_uncertainty_k


def test_a_gap_of_the_fixes_is_bridged_by_the_air():
    height, pressure, kelvin, vapour, _ = profile("lamont")
    holed = np.where((height > 7_000) & (height < 16_000), np.nan, height)
    bias = sensor_bias(height_ways(holed, pressure + 0.5, kelvin, vapour))
    assert bias.offset_hpa == pytest.approx(0.5, abs=bias.offset_uncertainty_hpa)


def test_wrong_heights_of_some_fixes_hardly_matter():
    height, pressure, kelvin, vapour, half = profile("darwin")
    wrong = height.copy()
    wrong[1000:1100] += 1000.0
    bias = sensor_bias(height_ways(wrong, pressure, kelvin, vapour))
    assert abs(bias.offset_hpa) < bias.offset_uncertainty_hpa + half


def test_a_low_flight_cannot_tell():
    height, pressure, kelvin, vapour, _ = profile("lamont")
    low = height < 3_000
    bias = sensor_bias(height_ways(height[low], pressure[low], kelvin[low], vapour[low]))
    assert bias.reason and np.isnan(bias.offset_hpa)


number = st.one_of(st.floats(-1e5, 1e5), st.sampled_from([0.0, np.nan, np.inf, 1000.0, 250.0]))


@settings(max_examples=60)
@given(st.lists(st.tuples(number, number, number, number), max_size=60))
def test_no_input_breaks_it(rows):
    ways = height_ways(*np.array(rows, float).reshape(-1, 4).T)
    height_bands(ways)
    assert sensor_bias(ways).levels <= len(ways)
