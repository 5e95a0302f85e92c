"""From the board's ticks to UTC: a straight line a boot, through the times of its fixes.

A fix carries the tick of its first character, which leaves the receiver some tenths of a second
after the epoch of the fix. The line therefore runs early by that delay, at most about 0.3 s, for
records that carry the tick of their sample.
"""

from dataclasses import dataclass

import numpy as np

DAY_MS = 86_400_000
ROLLOVER_MS = 1024 * 7 * DAY_MS  # IS-GPS-200: the week number has 10 bits
SAME_CLOCK_MS = 600_000  # fixes whose offsets from the tick lie this close can be of one clock
SMALLEST_REJECT_MS = 250.0  # arrival times scatter by up to this without being wrong
SLOPE_SPAN_MS = 600_000  # a drift is estimated only from fixes that span this much
SLOPE_FIXES = 20
PAIRS_FROM = 300  # fixes that the median of slopes uses, at most
FORMAT_BORN_MS = 20089 * DAY_MS  # 2025-01-01, before the record format existed


@dataclass(frozen=True)
class Clock:
    """One boot's line. utc_ms = utc_at_middle_ms + (tick_ms - middle_ms) * ms_per_tick."""

    middle_ms: float  # tick in the middle of the fixes used
    utc_at_middle_ms: float  # ms since 1970-01-01
    ms_per_tick: float
    drift_ppm: float | None  # positive: the board's clock runs fast; None: too few fixes to tell
    drift_uncertainty_ppm: float | None
    fixes_used: int
    fixes_rejected: int  # had a time that does not lie on the line, or that stood still
    weeks_wrong: int  # of these: off by a multiple of 1024 weeks
    scatter_ms: float  # root mean square of the fixes used about the line

    def utc(self, tick_ms):
        """Give UTC, datetime64[ms] array, for ticks in ms since boot, int64 array."""
        utc_ms = self.utc_at_middle_ms + (tick_ms - self.middle_ms) * self.ms_per_tick
        return np.rint(utc_ms).astype(np.int64).astype("datetime64[ms]")

    def utc_of(self, tick_ms):
        """Give UTC, datetime64[ms], for one tick in ms since boot."""
        return self.utc(np.array([tick_ms]))[0]

    def before_the_format(self):
        """True if the date lies before the record format existed: the receiver's is wrong."""
        return self.utc_at_middle_ms < FORMAT_BORN_MS


def fit_clock(tick_ms, utc_ms):
    """Fit a boot's clock to its fixes.

    tick_ms: float array (n,), ms since boot, not decreasing. utc_ms: float array (n,), ms since
    1970-01-01 as the receiver said, of fixes with a position. No NaN in either.
    Returns a Clock, or None without a fix. Survives wrong times as long as those that agree
    with each other are the most: the densest group of offsets is taken, then the line by
    Theil and Sen's median of slopes, then least squares over what lies near it.
    """
    total = len(tick_ms)
    moved = np.concatenate([[True], np.diff(utc_ms) != 0]) if total else np.zeros(0, bool)
    tick, utc = tick_ms[moved], utc_ms[moved]
    if len(tick) == 0:
        return None
    offset = utc - tick
    main = _densest(offset, SAME_CLOCK_MS)
    weeks_wrong = _weeks_wrong(utc_ms - tick_ms, np.median(offset[main]))
    tick, offset = tick[main], offset[main]

    middle = float(np.median(tick))
    slope, level = _theil_sen(tick - middle, offset)
    for _ in range(2):
        residual = offset - level - slope * (tick - middle)
        limit = max(4 * 1.4826 * float(np.median(np.abs(residual))), SMALLEST_REJECT_MS)
        near = np.abs(residual) <= limit
        if not _enough_for_slope(tick[near]):
            slope, level = 0.0, float(np.mean(offset[near])) if near.any() else level
        else:
            slope, level = np.polyfit(tick[near] - middle, offset[near], 1)
    residual = (offset - level - slope * (tick - middle))[near]
    scatter = float(np.sqrt(np.mean(residual**2))) if near.any() else 0.0
    drift = uncertainty = None
    if _enough_for_slope(tick[near]):
        drift = -float(slope) * 1e6
        spread = float(np.std(tick[near])) * np.sqrt(near.sum())
        uncertainty = max(scatter, 1.0) / spread * 1e6  # a tick is a whole millisecond
    return Clock(
        middle, middle + float(level), 1.0 + float(slope), drift, uncertainty,
        int(near.sum()), int(total - near.sum()), weeks_wrong, scatter,
    )  # fmt: skip


def _enough_for_slope(tick):
    return len(tick) >= SLOPE_FIXES and tick[-1] - tick[0] >= SLOPE_SPAN_MS


def _densest(offset, width):
    """Mask of the largest group of values that fit in a window of this width."""
    ordered = np.sort(offset)
    count = np.searchsorted(ordered, ordered + width, side="right") - np.arange(len(ordered))
    first = ordered[np.argmax(count)]
    return (offset >= first) & (offset <= first + width)


def _weeks_wrong(offset, right):
    """How many offsets are wrong by a multiple of 1024 weeks."""
    turns = (offset - right) / ROLLOVER_MS
    nearest = np.rint(turns)
    return int(np.sum((nearest != 0) & (np.abs(turns - nearest) * ROLLOVER_MS <= SAME_CLOCK_MS)))


def _theil_sen(x, y):
    """Median of the slopes between pairs, and the median level for it; slope 0 if too short."""
    if not _enough_for_slope(x):
        return 0.0, float(np.median(y))
    some = np.unique(np.linspace(0, len(x) - 1, min(len(x), PAIRS_FROM)).astype(int))
    first, second = np.triu_indices(len(some), 1)
    run = x[some][second] - x[some][first]
    rise = y[some][second] - y[some][first]
    far = run > SLOPE_SPAN_MS / 10
    slope = float(np.median(rise[far] / run[far]))
    return slope, float(np.median(y - slope * x))
