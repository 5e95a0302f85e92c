"""Robust lines, against another library and against published numbers."""

import numpy as np
import pytest
from scipy.stats import theilslopes

from ground.analyse.robust import in_steps, local_slopes, scatter, theil_sen


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("ties", [False, True])
def test_the_line_and_its_interval_are_those_of_scipy(seed, ties):
    rng = np.random.default_rng(seed)
    x = rng.uniform(0, 50, 80)
    x = np.round(x) if ties else x
    y = 3.0 - 1.7 * x + rng.standard_t(2, 80) * 5
    mine, other = theil_sen(x, y), theilslopes(y, x, 0.95)
    assert (mine.slope, mine.low, mine.high) == pytest.approx((other.slope, other.low_slope, other.high_slope))
    assert mine.level == pytest.approx(other.intercept)


def test_the_published_example_of_sen_is_met():
    # The example of P. K. Sen (1968): slope 4, 93 % interval 26/7 to 35/8. From memory; scipy's own tests of
    # theilslopes use it too, with 3.71 and 4.38.
    x = np.array([1.0, 2, 3, 4, 10, 12, 18])
    y = np.array([9.0, 15, 19, 20, 45, 55, 78])
    found = theil_sen(x, y, 0.93)
    assert found.slope == pytest.approx(4.0)
    assert (found.low, found.high) == pytest.approx((26 / 7, 35 / 8))


def test_a_quarter_of_wrong_samples_does_not_move_it():
    x = np.arange(400.0)
    y = 5.0 * x
    y[::4] = 30_000.0
    assert theil_sen(x, y).slope == pytest.approx(5.0, abs=0.15)
    assert scatter(np.where(np.arange(400) % 4 == 0, 1e6, np.arange(400) % 2)) < 3


def test_of_many_samples_a_part_is_taken_that_still_covers_the_true_slope():
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(40):
        x = rng.permutation(10_000) / 10.0
        found = theil_sen(x, 5.0 * x + rng.normal(0, 4, len(x)), most_samples=200)
        held += found.low <= 5.0 <= found.high
        assert found.samples == 200
    assert held >= 34  # 95 % of 40 are 38; fewer than 34 come by chance in 1 of 100 such tests


@pytest.mark.parametrize(
    "x, y", [([], []), ([1.0], [2.0]), ([2.0, 2.0], [1.0, 5.0]), ([1.0, np.nan], [np.nan, 3.0])]
)
def test_too_little_gives_no_slope(x, y):
    found = theil_sen(x, y)
    assert np.isnan([found.slope, found.low, found.high]).all()


def test_local_slopes_are_the_derivative_of_a_parabola_even_with_an_outlier():
    x = np.arange(60.0)
    y = 0.5 * x**2
    y[30] += 500.0
    slopes = local_slopes(x, y, 9)
    assert np.isnan(slopes[:4]).all() and np.isnan(slopes[-4:]).all()
    assert slopes[4:26] == pytest.approx(x[4:26]) and slopes[26:35] == pytest.approx(x[26:35], abs=1.1)
    assert np.isnan(local_slopes(x[:5], y[:5], 9)).all() and np.isnan(local_slopes(x * 0, y, 9)).all()


def test_steps_hold_the_middle_of_their_samples():
    time_s = np.array([0.0, 0.2, 0.4, 3.0, 3.5])
    means, middles, counts = in_steps(time_s, np.array([1.0, 99.0, 3.0, 7.0, 9.0]), 1.0)
    assert (means.tolist(), middles.tolist(), counts.tolist()) == (
        pytest.approx([0.2, 3.25]), [3.0, 8.0], [3, 2]
    )  # fmt: skip
    assert len(in_steps(np.zeros(0), np.zeros(0), 1.0)[0]) == 0
