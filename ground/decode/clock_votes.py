"""Which of a boot's fixes tell the time: the largest group that one clock can explain."""

import numpy as np

from ground.decode.clock_pieces import ENOUGH_FIXES, LEAST_SPAN_MS

DAY_MS = 86_400_000
ROLLOVER_MS = 1024 * 7 * DAY_MS  # IS-GPS-200: the week number has 10 bits
SAME_CLOCK_MS = 600_000  # fixes whose offsets from the tick lie this close can be of one clock
PAIRS_FROM = 300  # fixes that the median of slopes uses, at most


def enough_for_slope(tick):
    """True if these ticks (ms, in order) are enough and span enough for a rate."""
    return len(tick) >= ENOUGH_FIXES and tick[-1] - tick[0] >= LEAST_SPAN_MS


def densest(offset, width):
    """Give the mask of the largest group of values that fit in a window of this width."""
    ordered = np.sort(offset)
    count = np.searchsorted(ordered, ordered + width, side="right") - np.arange(len(ordered))
    first = ordered[np.argmax(count)]
    return (offset >= first) & (offset <= first + width)


def weeks_wrong(offset, right):
    """How many offsets are wrong by a multiple of 1024 weeks."""
    turns = (offset - right) / ROLLOVER_MS
    nearest = np.rint(turns)
    return int(np.sum((nearest != 0) & (np.abs(turns - nearest) * ROLLOVER_MS <= SAME_CLOCK_MS)))


def theil_sen(x, y):
    """Median of the slopes between pairs, and the median level for it; slope 0 if too short."""
    if not enough_for_slope(x):
        return 0.0, float(np.median(y))
    some = np.unique(np.linspace(0, len(x) - 1, min(len(x), PAIRS_FROM)).astype(int))
    first, second = np.triu_indices(len(some), 1)
    run = x[some][second] - x[some][first]
    rise = y[some][second] - y[some][first]
    far = run > LEAST_SPAN_MS / 10
    slope = float(np.median(rise[far] / run[far]))
    return slope, float(np.median(y - slope * x))
