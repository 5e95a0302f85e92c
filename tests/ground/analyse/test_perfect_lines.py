"""Data without any noise: rounding must not turn a perfect fit into an error."""

import numpy as np
import pytest

from ground.analyse.breakpoints import fit_bend


@pytest.mark.parametrize("bend", [60.0, 61.5, 99.0])
@pytest.mark.parametrize("rate", [0.1, 5.0, 1 / 3])
def test_a_bend_without_noise_is_found(bend, rate):
    time_s = np.arange(0.0, 200.0)
    height_m = 100.0 + rate * np.maximum(time_s - bend, 0.0)
    found = fit_bend(time_s, height_m, 0.0, 150.0)
    assert found.time_s == pytest.approx(bend, abs=0.5)


def test_heights_that_never_change_are_no_error():
    time_s = np.arange(0.0, 200.0)
    fit_bend(time_s, np.full(200, 95.0), 0.0, 150.0)
