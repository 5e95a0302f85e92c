"""Medians of many runs, and curves through them, against numpy's median and polynomials."""

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ground.analyse.curves import mean_rates
from ground.analyse.runs import medians, padded, row_medians

value = st.one_of(st.floats(-1e6, 1e6), st.just(np.nan))


@settings(max_examples=60)
@given(st.lists(st.lists(value, min_size=1, max_size=9), min_size=1, max_size=6))
def test_medians_of_runs_are_numpys(runs):
    start = np.cumsum([0, *map(len, runs[:-1])])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of runs without a number
        expected = [np.nanmedian(run) for run in runs]
    np.testing.assert_allclose(medians(np.concatenate(runs), start), expected, rtol=1e-12)
    rows = padded(np.concatenate(runs), start, np.nan)
    np.testing.assert_allclose(row_medians(rows), np.median(rows, axis=1), rtol=1e-12)


def test_nothing_in_nothing_out():
    nothing, none = np.zeros(0), np.zeros(0, int)
    assert len(medians(nothing, none)) == 0 and padded(nothing, none).shape == (0, 0)
    rates, left = mean_rates(nothing, np.zeros((3, 0)), none)
    assert rates.shape == (0, 3) and left.shape == (3, 0)


@pytest.mark.parametrize("samples, degree", [(40, 3), (8, 1)])
def test_rates_are_those_of_numpys_polynomial_in_every_run(samples, degree):
    rng = np.random.default_rng(3)
    times = [np.sort(rng.uniform(0.0, 90.0, size)) for size in (samples, samples + 3)]
    truths = [np.array([0.005 * (degree - 1) * t**2 - t, 7.0 * t]) for t in times]
    values = [truth + rng.uniform(-0.5, 0.5, truth.shape) for truth in truths]
    rates, left = mean_rates(np.concatenate(times), np.concatenate(values, axis=1), np.array([0, samples]))
    for run, (t, rows) in enumerate(zip(times, values, strict=True)):
        for column, row in enumerate(rows):
            # Without a sample that is far out, the robust fit is nearly that of least squares.
            curve = np.polynomial.Polynomial.fit(t, row, degree)
            mean = (curve(t[-1]) - curve(t[0])) / (t[-1] - t[0])
            assert rates[run, column] == pytest.approx(mean, abs=0.5 / (t[-1] - t[0]))
    expected = values[0][1] - np.polynomial.Polynomial.fit(times[0], values[0][1], degree)(times[0])
    np.testing.assert_allclose(left[1, :samples], expected, atol=0.5)


def test_wrong_samples_of_one_run_hardly_move_it_and_no_other():
    t = np.arange(60.0)
    spoilt = 3.0 * t
    spoilt[::7] += 900.0
    rates, _ = mean_rates(np.concatenate([t, t]), np.concatenate([spoilt, 3.0 * t])[None], np.array([0, 60]))
    np.testing.assert_allclose(rates[:, 0], 3.0, atol=0.02)
