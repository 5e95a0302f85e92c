"""The inverse of the BMP280's equations against the data sheet's example and its equations."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.simulator.world.bmp280_counts import EXAMPLE_WORDS, bmp280_counts


def compensated(counts, temperature_counts, words):
    """(degC, Pa) after BST-BMP280-DS001, section 8.1, line by line."""
    t1, t2, t3, p1, p2, p3, p4, p5, p6, p7, p8, p9 = words
    var1 = (temperature_counts / 16384.0 - t1 / 1024.0) * t2
    var2 = (temperature_counts / 131072.0 - t1 / 8192.0) ** 2 * t3
    t_fine = var1 + var2
    var1 = t_fine / 2.0 - 64000.0
    var2 = var1 * var1 * p6 / 32768.0
    var2 = var2 + var1 * p5 * 2.0
    var2 = var2 / 4.0 + p4 * 65536.0
    var1 = (p3 * var1 * var1 / 524288.0 + p2 * var1) / 524288.0
    var1 = (1.0 + var1 / 32768.0) * p1
    p = (1048576.0 - counts - var2 / 4096.0) * 6250.0 / var1
    return t_fine / 5120.0, p + (p9 * p * p / 2147483648.0 + p * p8 / 32768.0 + p7) / 16.0


def counts(pressure_pa, celsius, words=EXAMPLE_WORDS):
    found = bmp280_counts(np.array([pressure_pa]), np.array([celsius + 273.15]), words)
    return tuple(int(array[0]) for array in found)


def test_the_inverse_gives_the_data_sheets_counts_back():
    # Section 3.12: adc_P = 415148 and adc_T = 519888 are 25.08 degC and 100653.27 Pa.
    celsius, pressure_pa = compensated(415148, 519888, EXAMPLE_WORDS)
    assert round(celsius, 2) == 25.08 and round(pressure_pa, 2) == 100653.27
    assert counts(pressure_pa, celsius) == (415148, 519888)


@given(
    pressure_pa=st.floats(800.0, 110000.0),
    celsius=st.floats(-60.0, 60.0),
    # Words about those of the example. How far real chips spread is not published: a guess.
    spread=st.tuples(*[st.floats(0.9, 1.1)] * 12),
)
def test_the_equations_bring_the_input_back_to_within_a_count(pressure_pa, celsius, spread):
    words = tuple(round(word * share) for word, share in zip(EXAMPLE_WORDS, spread))
    found, temperature_counts = counts(pressure_pa, celsius, words)
    assert 0 < found < 0xFFFFF and 0 < temperature_counts < 0xFFFFF
    again_celsius, again_pa = compensated(found, temperature_counts, words)
    # A count is worth 5 mK and 0.16 to 0.2 Pa (tables 4 and 5).
    assert again_celsius == pytest.approx(celsius, abs=0.004)
    assert again_pa == pytest.approx(pressure_pa, abs=0.15)


def test_counts_stay_within_20_bits():
    assert counts(9e9, 5000.0) == (0, 0xFFFFF)
