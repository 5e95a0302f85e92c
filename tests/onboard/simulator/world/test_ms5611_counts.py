"""The inverse of the MS5611's equations against the data sheet's example and its equations."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ms5611_datasheet import EXAMPLE, compensated

from onboard.simulator.world.ms5611_counts import ms5611_counts


def counts(pressure_pa, celsius, words):
    d1, d2 = ms5611_counts(np.array([pressure_pa]), np.array([celsius + 273.15]), words)
    return int(d1[0]), int(d2[0])


def test_the_reference_equations_give_the_data_sheets_example():
    # Data sheet: D1 = 9085466, D2 = 8569150 -> TEMP = 2007, P = 100009.
    assert compensated(9085466, 8569150, EXAMPLE) == (2007, 100009)


def test_the_inverse_gives_the_data_sheets_counts_back():
    temp, pressure_pa = compensated(9085466, 8569150, EXAMPLE, exact=True)
    assert counts(pressure_pa, temp / 100.0, EXAMPLE) == (9085466, 8569150)


def test_the_inverse_knows_the_second_order():
    # Regression value made with a second implementation (no published numbers exist): D1 = 6500000,
    # D2 = 8000000 give TEMP -62 and P 48632 with second order, 87 and 48786 without.
    assert compensated(6500000, 8000000, EXAMPLE) == (-62, 48632)
    temp, pressure_pa = compensated(6500000, 8000000, EXAMPLE, exact=True)
    d1, d2 = counts(pressure_pa, temp / 100.0, EXAMPLE)
    # The flow chart rounds TEMP down before squaring it, the exact version does not: a count or two.
    assert d2 == 8000000 and abs(d1 - 6500000) <= 2


@given(
    pressure_pa=st.floats(800.0, 110000.0),
    celsius=st.floats(-60.0, 60.0),
    # Words in the range of real chips: the data sheet's typical values and 15 % about them.
    spread=st.tuples(*[st.floats(0.85, 1.15)] * 6),
)
def test_the_equations_bring_the_input_back_to_within_a_count(pressure_pa, celsius, spread):
    words = tuple(int(word * share) for word, share in zip(EXAMPLE, spread))
    d1, d2 = counts(pressure_pa, celsius, words)
    if not (0 < d1 < 0xFFFFFF and 0 < d2 < 0xFFFFFF):
        return  # a chip with such words cannot measure this
    temp, pressure = compensated(d1, d2, words)
    # Rounding down costs up to 0.01 degC and 1 Pa, twice each; a count is worth less.
    assert abs(temp - celsius * 100.0) < 2.5
    assert abs(pressure - pressure_pa) < 2.0


def test_counts_stay_within_24_bits():
    assert counts(9e9, 5000.0, EXAMPLE) == (0xFFFFFF, 0xFFFFFF)


@pytest.mark.parametrize("celsius", [20.0, -15.0])
def test_the_switch_between_the_orders_is_seamless(celsius):
    below, above = (counts(50000.0, celsius + step, EXAMPLE) for step in (-0.01, 0.01))
    assert abs(below[1] - above[1]) < 1000
    assert compensated(*below, EXAMPLE)[1] == pytest.approx(compensated(*above, EXAMPLE)[1], abs=2)
