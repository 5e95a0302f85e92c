"""Seeded noise: independent, repeatable, of the right size and memory."""

import numpy as np
import pytest

from onboard.simulator.world.chance import first_order_lag, gauss_markov, generator


def test_purposes_have_independent_numbers_and_seeds_repeat():
    draws = {name: generator(7, name).standard_normal(4000) for name in ("gusts", "analog", "gnss")}
    np.testing.assert_array_equal(draws["gusts"], generator(7, "gusts").standard_normal(4000))
    assert not np.array_equal(draws["gusts"], generator(8, "gusts").standard_normal(4000))
    for first, second in (("gusts", "analog"), ("gusts", "gnss"), ("analog", "gnss")):
        assert abs(np.corrcoef(draws[first], draws[second])[0, 1]) < 0.06


def test_a_gauss_markov_series_has_its_size_and_its_memory():
    # Autocorrelation exp(-t / T): definition of the process.
    series = gauss_markov(np.random.default_rng(1), 400000, 1.0, 20.0, 2.5)
    assert series.std() == pytest.approx(2.5, rel=0.05)
    assert abs(series.mean()) < 0.1
    for lag in (10, 20, 40):
        correlation = np.corrcoef(series[:-lag], series[lag:])[0, 1]
        assert correlation == pytest.approx(np.exp(-lag / 20.0), abs=0.04)


def test_a_gauss_markov_series_starts_at_full_size():
    starts = [gauss_markov(np.random.default_rng(seed), 1, 1.0, 60.0, 3.0)[0] for seed in range(2000)]
    assert np.std(starts) == pytest.approx(3.0, rel=0.06)


def test_a_step_is_followed_to_63_percent_in_one_time_constant():
    followed = first_order_lag(np.ones(1000), 0.1, 6.0, 0.0)
    time_s = 0.1 * np.arange(1, 1001)
    np.testing.assert_allclose(followed, 1.0 - np.exp(-time_s / 6.0), atol=1e-9)


def test_a_ramp_is_followed_one_time_constant_behind():
    ramp = 0.05 * np.arange(3000)
    behind = ramp - first_order_lag(ramp, 0.1, 10.0, 0.0)
    assert behind[-1] == pytest.approx(0.5 * 10.0, rel=0.01)  # 0.5 per second times 10 s
