"""Fewer points of a long line, without losing its peaks."""

import numpy as np

MOST_POINTS = 3000
_KEPT_A_STEP = 6


def thin(x, y, most=MOST_POINTS):
    """Choose points that draw like all of them: of each of equal steps along the line the first, the last, and
    those with the lowest and highest x and y.

    x, y: float arrays (n,), in the order in which the line is drawn; NaN breaks it, and one of each break is
    kept, of the longest if there are many. most: how many at most, 12 or more. Returns indices, sorted, int
    array (m,) with m <= most; the lowest and highest x and y are always among them.
    Source: M4 of U. Jugel et al., "M4: A Visualization-Oriented Time Series Data Aggregation", Proc. VLDB
    Endowment 7 (10), 2014; in steps of samples, not of x, since a track goes back and forth.
    """
    if len(x) <= most:
        return np.arange(len(x))
    unknown = ~(np.isfinite(x) & np.isfinite(y))
    known = np.flatnonzero(~unknown)
    if len(known) == 0:
        return known
    breaks = _breaks(unknown, known, x, most // 4)
    steps = (most - len(breaks)) // _KEPT_A_STEP
    step = np.arange(len(known)) * steps // len(known)
    first = np.flatnonzero(np.concatenate([[True], np.diff(step) > 0]))
    last = np.concatenate([first[1:], [len(step)]]) - 1
    keep = [first, last]
    for values in (x[known], y[known]):
        order = np.lexsort((values, step))
        keep += [order[first], order[last]]
    return np.unique(np.concatenate([known[np.concatenate(keep)], breaks]))


def _breaks(unknown, known, x, most):
    """The first unknown point of each run of them; of too many, those over the longest way in x."""
    breaks = np.flatnonzero(unknown & ~np.concatenate([[False], unknown[:-1]]))
    if len(breaks) <= most:
        return breaks
    after = np.searchsorted(known, breaks)
    way = np.abs(x[known[np.minimum(after, len(known) - 1)]] - x[known[np.maximum(after - 1, 0)]])
    return np.sort(breaks[np.argsort(-way, kind="stable")[:most]])
