"""Curves through the samples of many runs, fitted robustly, and their mean rates of change."""

import numpy as np

from ground.analyse.runs import lengths, padded

HUBER = 1.345  # residuals of so many scaled deviations and more count less (P. J. Huber's usual constant)
ROUNDS = 12
CUBIC_SAMPLES = 12  # fewer are fitted by a straight line


def mean_rates(time_s, values, start):
    """Give mean rates of change over the time of each run, from the fitted begin to the fitted end, and what the
    fits leave.

    time_s: float array (n,), not decreasing within a run, not all equal; values: float array (k, n); start: int
    array (r,), where each run of at least two samples begins. Returns (rates (r, k), residuals (k, n)). Method: a
    cubic (a straight line of few samples) by iterated least squares with the weights of P. J. Huber, Ann. Math.
    Statist. 35, 1964, begun with nearly least absolute deviations. The slope of a straight line alone would weigh
    the middle of a layer more than its ends and miss the mean of a curved change.
    """
    count = lengths(start, len(time_s))
    run = np.repeat(np.arange(len(start)), count)
    half_s = (time_s[start + count - 1] - time_s[start]) / 2
    basis = np.polynomial.legendre.legvander((time_s - time_s[start[run]]) / half_s[run] - 1.0, 3)
    basis[count[run] < CUBIC_SAMPLES, 2:] = 0.0
    if len(start) == 0:
        return np.zeros((0, len(values))), np.zeros_like(values)
    factors, left = _fitted(padded(basis, start), padded(values.T, start).transpose(0, 2, 1), count)
    # At the ends, -1 and 1, the even Legendre polynomials are alike and the odd ones are -1 and 1.
    return factors[:, :, 1::2].sum(axis=2) / half_s[:, None], left[run, :, np.arange(len(time_s)) - start[run]].T


def _fitted(basis, values, count):
    """(factors (r, k, b), residuals (r, k, longest)) of values (r, k, longest).

    basis: (r, longest, b), zeros beyond the samples of a run; count: how many it has.
    """
    real = (np.arange(values.shape[2]) < count[:, None])[:, None]
    weight = np.ones_like(values)
    for turn in range(ROUNDS):
        weighted = (weight[:, :, :, None] * basis[:, None]).transpose(0, 1, 3, 2)
        normal = weighted @ basis[:, None] + 1e-9 * np.eye(basis.shape[2])
        factors = np.linalg.solve(normal, weighted @ values[:, :, :, None])[:, :, :, 0]
        left = np.where(real, values - factors @ basis.transpose(0, 2, 1), 0.0)
        size = np.abs(left)
        scale = np.maximum(1.4826 * _middles(np.where(real, size, np.inf), count), 1e-3)[:, :, None]
        limit = scale * (0.1 if turn < ROUNDS / 2 else HUBER)
        weight = np.minimum(1.0, limit / np.maximum(size, 1e-12))
    return factors, left


def _middles(sizes, count):
    """Medians (r, k) of rows (r, k, longest) of which the first `count` are numbers and the others infinite."""
    ranked = np.sort(sizes, axis=2)
    row = np.arange(len(count))
    return (ranked[row, :, (count - 1) // 2] + ranked[row, :, count // 2]) / 2
