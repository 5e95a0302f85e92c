"""Medians of many short rows or runs of samples, such as those of each layer of height: all at once."""

import numpy as np


def lengths(start, samples):
    """Give how many samples each run has. start: int array (r,), where each begins; samples: of all runs."""
    return np.diff(start, append=samples)


def medians(values, start):
    """Give the median of each run.

    values: float array (n,). start: int array (r,), rising, where each run begins. NaN are left out.
    Returns a float array (r,), NaN for a run without a value.
    """
    run = np.repeat(np.arange(len(start)), lengths(start, len(values)))
    known = np.isfinite(values)
    run, values = run[known], values[known]
    values = values[np.lexsort((values, run))]
    count = np.bincount(run, minlength=len(start))
    first = np.cumsum(count) - count
    some = count > 0
    found = np.full(len(start), np.nan)
    low, high = first + (count - 1) // 2, first + count // 2
    found[some] = (values[low[some]] + values[high[some]]) / 2
    return found


def row_medians(rows):
    """Give the median of each row of a float array (n, k), as numpy.median does, but many times faster for short
    rows.

    Returns a float array (n,), NaN for a row with a NaN.
    """
    ranked = np.sort(rows, axis=1)
    samples = ranked.shape[1]
    middles = (ranked[:, (samples - 1) // 2] + ranked[:, samples // 2]) / 2
    return np.where(np.isnan(ranked[:, -1]), np.nan, middles)


def padded(values, start, nothing=0.0):
    """Give runs as rows of one length. values: array (n, ...). Returns an array (r, longest, ...)."""
    count = lengths(start, len(values))
    run = np.repeat(np.arange(len(start)), count)
    rows = np.full((len(start), int(count.max(initial=0)), *values.shape[1:]), nothing, values.dtype)
    rows[run, np.arange(len(values)) - start[run]] = values
    return rows
