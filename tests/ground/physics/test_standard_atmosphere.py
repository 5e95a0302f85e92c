"""The standard atmosphere against its tables and against two other libraries."""

import numpy as np
import pytest
from ambiance import Atmosphere
from fluids.atmosphere import ATMOSPHERE_1976
from hypothesis import given
from hypothesis import strategies as st

from ground.physics import atmosphere as air

# ISO 2533:1975 / ICAO Doc 7488, geopotential height -> pressure, temperature, density; each row
# also computed with ambiance 1.3.1 and fluids 1.3.1 when this table was made.
# Tolerance: half a unit of the last figure. Rows at the boundaries of layers.
ISO_ROWS = [  # m, Pa, half unit, K, kg/m3, half unit
    (0, 101325, 0.5, 288.15, 1.2250, 0.00005),
    (5000, 54019.89, 0.005, 255.65, 0.736116, 5e-7),
    (11000, 22632.04, 0.005, 216.65, 0.363918, 5e-7),
    (20000, 5474.877, 0.0005, 216.65, 0.0880347, 5e-8),
    (25000, 2511.017, 0.0005, 221.65, 0.0394657, 5e-8),
    (32000, 868.0158, 0.00005, 228.65, 0.0132250, 5e-8),
    (47000, 110.9058, 0.00005, 270.65, 0.00142753, 5e-9),
]

# ICAO Doc 7488 as reprinted in public ISA tables: pressure hPa -> height, whole metres.
PRESSURE_HEIGHT_ROWS = [(1013.25, 0), (850, 1457), (700, 3012), (500, 5574), (200, 11784),
                        (100, 16180), (50, 20576), (10, 31055)]  # fmt: skip

# US Standard Atmosphere 1976, equation 18: geometric -> geopotential height, m, two decimals.
HEIGHT_ROWS = [(1000, 999.84), (5000, 4996.07), (20063.12, 20000.00), (32161.90, 32000.00)]


@pytest.mark.parametrize("row", ISO_ROWS)
def test_pressure_temperature_and_density_are_those_of_the_iso_table(row):
    height_m, pressure, pressure_half, temperature, density, density_half = row
    assert air.standard_pressure_pa(height_m) == pytest.approx(pressure, abs=pressure_half)
    assert air.standard_temperature_k(height_m) == pytest.approx(temperature, abs=1e-9)
    assert air.standard_density_kg_m3(height_m) == pytest.approx(density, abs=density_half)


@pytest.mark.parametrize("pressure_hpa, height_m", PRESSURE_HEIGHT_ROWS)
def test_pressure_heights_are_those_of_the_icao_table(pressure_hpa, height_m):
    assert air.pressure_height_m(pressure_hpa * 100.0) == pytest.approx(height_m, abs=0.5)


@pytest.mark.parametrize("geometric_m, geopotential_m", HEIGHT_ROWS)
def test_the_two_kinds_of_height_convert_as_printed(geometric_m, geopotential_m):
    assert air.geopotential_height_m(geometric_m) == pytest.approx(geopotential_m, abs=0.006)
    assert air.geometric_height_m(geopotential_m) == pytest.approx(geometric_m, abs=0.006)


def test_every_height_agrees_with_the_library_ambiance():
    # ambiance implements the same standard (ICAO 1993), over geometric height; it starts each layer
    # from a pressure printed to six figures, hence the tolerance.
    geometric_m = np.arange(-2000.0, 80001.0, 500.0)
    reference = Atmosphere(geometric_m)
    height_m = air.geopotential_height_m(geometric_m)
    np.testing.assert_allclose(height_m, reference.H, rtol=1e-12, atol=1e-9)
    np.testing.assert_allclose(air.standard_pressure_pa(height_m), reference.pressure, rtol=5e-6)
    np.testing.assert_allclose(air.standard_temperature_k(height_m), reference.temperature, rtol=1e-9)
    np.testing.assert_allclose(air.standard_density_kg_m3(height_m), reference.density, rtol=5e-6)
    np.testing.assert_allclose(air.gravity_m_s2(geometric_m), reference.grav_accel, rtol=1e-9)


def test_every_height_agrees_with_the_us_standard_of_the_library_fluids():
    # The US standard's gas constant differs from ISO's in the sixth figure, hence 1e-5.
    for geometric_m in range(0, 80001, 4000):
        reference = ATMOSPHERE_1976(geometric_m)
        height_m = air.geopotential_height_m(geometric_m)
        assert air.standard_pressure_pa(height_m) == pytest.approx(reference.P, rel=2e-5)
        assert air.standard_temperature_k(height_m) == pytest.approx(reference.T, rel=1e-6)


@given(st.floats(-5000.0, 80000.0))
def test_height_of_the_pressure_of_a_height_is_that_height(height_m):
    there_and_back = air.pressure_height_m(air.standard_pressure_pa(height_m))
    if -5000.0 < height_m < 80000.0:  # the very ends may fall out by rounding
        assert there_and_back == pytest.approx(height_m, abs=1e-6)


@given(st.lists(st.floats(-5000.0, 80000.0), min_size=2, max_size=20))
def test_pressure_always_falls_with_height(heights_m):
    pressures = air.standard_pressure_pa(np.sort(heights_m))
    assert np.all(np.diff(pressures) <= 0.0)


@pytest.mark.parametrize("height_m", [-5001.0, 80001.0, np.nan, np.inf])
def test_outside_the_range_there_is_no_answer(height_m):
    assert np.isnan(air.standard_pressure_pa(height_m))
    assert np.isnan(air.standard_temperature_k(height_m))
    assert np.isnan(air.standard_density_kg_m3(height_m))


@pytest.mark.parametrize("pressure_pa", [0.0, -5.0, np.nan, 0.5, 200000.0])
def test_a_pressure_that_cannot_be_has_no_height(pressure_pa):
    assert np.isnan(air.pressure_height_m(pressure_pa))


def test_arrays_keep_their_shape_and_missing_values_stay_missing():
    heights = np.array([[0.0, np.nan], [11000.0, 32000.0]])
    pressures = air.standard_pressure_pa(heights)
    assert pressures.shape == (2, 2)
    assert np.isnan(pressures[0, 1]) and np.isfinite(pressures).sum() == 3
    assert np.isnan(air.pressure_height_m(pressures)[0, 1])
