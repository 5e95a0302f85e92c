"""From the board's ticks to UTC: a line of straight pieces a boot, through the times of its fixes.

A fix carries the tick of its first character, which leaves the receiver some tenths of a second
after the epoch of the fix. The line therefore runs early by that delay, at most about DELAY_MAX_MS, for
records that carry the tick of their sample. The fixes cannot show this delay.
"""

from dataclasses import dataclass

import numpy as np

from ground.decode.clock_pieces import (
    ENOUGH_FIXES, LEAST_SPAN_MS, WANDER_PPM, correlation_factor, fit_pieces, fit_robustly, gaps, place_knots,
)
from ground.decode.clock_votes import (
    DAY_MS, ROLLOVER_MS, SAME_CLOCK_MS, densest, enough_for_slope, theil_sen, weeks_wrong,
)

__all__ = ["DAY_MS", "DELAY_MAX_MS", "FORMAT_BORN_MS", "ROLLOVER_MS", "Clock", "fit_clock"]

SMALLEST_REJECT_MS = 250.0  # arrival times scatter by up to this without being wrong
BEND_PPM = 25.0  # what a bent clock strays from the straight line, a time span long, is less than this share of it
DELAY_MAX_MS = 300.0  # of a receiver that sends once a second (common practice, no source)
PLAIN_MS = 2.0  # a straight line that strays no further than this is as good as pieces: ticks are whole ms
FORMAT_BORN_MS = 20089 * DAY_MS  # 2025-01-01, before the record format existed
UNKNOWN_RATE_PPM = 50.0  # one standard deviation of a crystal's rate that nothing tells (data sheets: +-20 to 100)


@dataclass(frozen=True)
class Clock:
    """One boot's clock: straight pieces between knots, drawn on beyond the first and the last.

    middle_ms, utc_at_middle_ms: a tick in the middle of the fixes used, and its UTC. ms_per_tick: mean rate.
    All standard deviations are of one sigma.
    """

    middle_ms: float
    utc_at_middle_ms: float  # ms since 1970-01-01
    ms_per_tick: float
    drift_ppm: float | None  # mean; positive: the board's clock runs fast; None: too few fixes to tell
    drift_uncertainty_ppm: float | None
    fixes_used: int
    fixes_rejected: int  # had a time that does not lie on the line, or that stood still
    weeks_wrong: int  # of these: off by a multiple of 1024 weeks
    scatter_ms: float  # root mean square of the fixes used about the line
    knots_ms: tuple  # ticks at which the rate may change, and the first and last fix used; at least one
    knots_utc_ms: tuple  # UTC there
    knots_uncertainty_ms: tuple  # standard deviation of that
    pieces: tuple  # (first tick, last tick, drift in ppm, its standard deviation) of each piece
    rates: tuple  # ms per tick before the first knot, in each piece, after the last knot
    wander_ppm: tuple  # standard deviation of what the rate does unseen, likewise

    def utc(self, tick_ms):
        """Give UTC, datetime64[ms] array, for ticks in ms since boot, int64 array."""
        tick = np.asarray(tick_ms, float)
        after = np.searchsorted(self.knots_ms, tick, side="right")
        knot = np.maximum(after - 1, 0)
        run_ms = (tick - np.array(self.knots_ms)[knot]) * np.array(self.rates)[after]
        return np.rint(np.array(self.knots_utc_ms)[knot] + run_ms).astype(np.int64).astype("datetime64[ms]")

    def utc_of(self, tick_ms):
        """Give UTC, datetime64[ms], for one tick in ms since boot."""
        return self.utc(np.array([tick_ms]))[0]

    def uncertainty_ms(self, tick_ms):
        """Give the standard deviation of UTC, float array (n,), ms, for ticks in ms since boot. The receiver's
        constant delay, 0 to DELAY_MAX_MS, is not in it.
        """
        tick, knots = np.asarray(tick_ms, float), np.array(self.knots_ms)
        after = np.searchsorted(knots, tick, side="right")
        left, right = knots[np.maximum(after - 1, 0)], knots[np.minimum(after, len(knots) - 1)]
        # A line that is right at both ends of a piece strays most in its middle, outside ever more.
        inside = (tick - left) * (right - tick) / np.maximum(right - left, 1.0)
        away = np.where(right > left, inside, np.abs(tick - left))
        level = np.interp(tick, knots, self.knots_uncertainty_ms)
        return np.hypot(level, np.array(self.wander_ppm)[after] * 1e-6 * away)

    def before_the_format(self):
        """True if the date lies before the record format existed: the receiver's is wrong."""
        return self.utc_at_middle_ms < FORMAT_BORN_MS


def fit_clock(tick_ms, utc_ms):
    """Fit a boot's clock to its fixes.

    tick_ms: float array (n,), ms since boot, not decreasing. utc_ms: float array (n,), ms since
    1970-01-01 as the receiver said, of fixes with a position. No NaN in either.
    Returns a Clock, or None without a fix. Survives wrong times as long as those that agree
    with each other are the most: the densest group of offsets is taken, then what lies near the line by
    Theil and Sen's median of slopes, then pieces by least absolute deviations, then least squares over what
    lies near these. Where a single straight line does as well, it is taken.
    """
    total = len(tick_ms)
    moved = np.concatenate([[True], np.diff(utc_ms) != 0]) if total else np.zeros(0, bool)
    tick, utc = tick_ms[moved], utc_ms[moved]
    if len(tick) == 0:
        return None
    offset = utc - tick
    main = densest(offset, SAME_CLOCK_MS)
    weeks = weeks_wrong(utc_ms - tick_ms, np.median(offset[main]))
    tick, offset = tick[main], offset[main]

    middle = float(np.median(tick))
    slope, level = theil_sen(tick - middle, offset)
    residual = offset - level - slope * (tick - middle)
    near = np.abs(residual) <= _limit(residual, BEND_PPM * 1e-6 * np.ptp(tick))
    if not enough_for_slope(tick[near]):
        return _without_rate(tick, offset, near, middle, level, total, weeks)
    x, y = tick[near] - middle, offset[near] - level
    return _clock(*_best_pieces(x, y), middle, level, total, weeks)


def _best_pieces(x, y):
    """The samples that lie near the pieces, the Pieces, and how far off these may be, ms: a single piece if it does
    as well and has no gap, in which nobody knows how the clock bent.
    """
    knots = place_knots(x)
    if len(knots) < 3:
        return *_near_pieces(x, y, x[[0, -1]]), PLAIN_MS / 2.0
    x_bent, y_bent, bent = _near_pieces(x, y, knots)
    straight = fit_pieces(x_bent, y_bent, x_bent[[0, -1]])
    strays_ms = straight.at(knots) - bent.at(knots)
    rss_bent, rss_straight = (max(np.sum((y_bent - p.at(x_bent)) ** 2), 1e-9) for p in (bent, straight))
    # Criterion of H. Akaike, IEEE Trans. Autom. Control 19 (1974), 716-723.
    gain = len(x_bent) * np.log(rss_straight / rss_bent) - 2.0 * (len(knots) - 2)
    if len(gaps(x_bent)) or np.abs(strays_ms).max() > PLAIN_MS and gain > 0.0:
        return x_bent, y_bent, bent, 0.0
    return *_near_pieces(x, y, x[[0, -1]]), max(PLAIN_MS / 2.0, float(np.sqrt(np.mean(strays_ms**2))))


def _near_pieces(x, y, knots):
    pieces = fit_robustly(x, y, knots, SMALLEST_REJECT_MS / 10.0)
    for _ in range(2):
        residual = y - pieces.at(x)
        near = np.abs(residual) <= _limit(residual)
        if not enough_for_slope(x[near]):
            break
        # Knots where all samples were rejected would hang in the air.
        inside = x[near]
        knots = place_knots(inside) if len(knots) > 2 else inside[[0, -1]]
        if len(knots) < 2:
            knots = inside[[0, -1]]
        pieces = fit_pieces(inside, y[near], knots)
    return x[near], y[near], pieces


def _limit(residual, more_ms=0.0):
    return max(4 * 1.4826 * float(np.median(np.abs(residual))), SMALLEST_REJECT_MS + more_ms)


def _without_rate(tick, offset, near, middle, level, total, weeks):
    """The Clock of a few fixes: their mean offset, and the rate that the crystal should have."""
    used = offset[near] if near.any() else offset[np.argmin(np.abs(offset - level))][np.newaxis]
    level, scatter = float(np.mean(used)), float(np.std(used))
    deviation = max(scatter, 1.0) / np.sqrt(len(used))
    return Clock(
        middle, middle + level, 1.0, None, None, len(used), total - len(used), weeks, scatter,
        (middle,), (middle + level,), (deviation,), (), (1.0, 1.0), (UNKNOWN_RATE_PPM, UNKNOWN_RATE_PPM),
    )  # fmt: skip


def _clock(x, y, pieces, plain_ms, middle, level, total, weeks):
    residual = y - pieces.at(x)
    scatter = float(np.sqrt(np.mean(residual**2)))
    noise = max(scatter, 1.0) * correlation_factor(residual)  # a tick is a whole millisecond
    slopes, count = pieces.slopes(), len(pieces.knots) - 1
    wander_ppm = _wander(x, pieces)
    bent_ms = np.full(2, plain_ms) if count == 1 else _bent_ms(pieces, wander_ppm)
    deviations = [noise * pieces.slope_deviation(i, i + 1) for i in range(count)]
    first, last = pieces.at(x[[0, -1]])  # a few fixes beyond a bridge lie beyond the last knot
    run = float(x[-1] - x[0])
    mean = float(last - first) / run
    bent = np.hypot(bent_ms[0], bent_ms[-1]) / run
    mean_deviation = float(np.hypot(noise * pieces.slope_deviation(0, count), bent))
    ends = [_drawn_on(slopes[i], deviations[i], mean) for i in (0, -1)]
    knots = pieces.knots + middle
    utc = knots + level + pieces.level
    spans = zip(knots[:-1], knots[1:], slopes, deviations, strict=True)
    return Clock(
        middle, float(middle + level + pieces.at(0.0)), 1.0 + mean, -mean * 1e6,
        mean_deviation * 1e6, len(x), total - len(x), weeks, scatter,
        tuple(knots.tolist()), tuple(utc.tolist()),
        tuple(np.hypot(noise * np.sqrt(np.diag(pieces.covariance)), bent_ms).tolist()),
        tuple((float(a), float(b), -float(slope) * 1e6, d * 1e6) for a, b, slope, d in spans),
        (1.0 + ends[0], *(1.0 + slopes).tolist(), 1.0 + ends[1]), wander_ppm,
    )  # fmt: skip


def _bent_ms(pieces, wander_ppm):
    """What a knot is off because the clock bends evenly where the line bends at knots only, ms: a twelfth of the
    change of rate times the length of a piece; of the ends by the greatest change, for which they are on their own.
    """
    wander = np.array(wander_ppm[1:-1])
    off = wander * 1e-6 * np.minimum(np.diff(pieces.knots), 2.0 * LEAST_SPAN_MS) / 6.0
    bridge = wander >= wander_ppm[0]
    most = np.max(off, initial=0.0, where=~bridge)
    # The few fixes beyond a bridge have one knot, in their middle.
    ends = np.where(bridge[[0, -1]], np.maximum(most, off[[0, -1]]), most)
    off[bridge] = 0.0  # it has no fixes that could bend it
    return np.concatenate([ends[:1], np.maximum(off[:-1], off[1:]), ends[1:]])


def _drawn_on(slope, deviation, mean):
    """The rate beyond an end: that of the last piece, and the less sure it is the more the mean."""
    trust = WANDER_PPM**2 / (WANDER_PPM**2 + (deviation * 1e6) ** 2)
    return float(mean + trust * (slope - mean))


def _wander(x, pieces):
    """How much the rate changes unseen, ppm, one standard deviation: before, in each piece, and after."""
    slopes, knots = pieces.slopes() * 1e6, pieces.knots
    steps = np.abs(np.diff(slopes))
    beside = np.maximum(np.concatenate([[0.0], steps]), np.concatenate([steps, [0.0]]))
    least = 2.0 * PLAIN_MS * 1e6 / np.diff(knots)
    # A rate that changes evenly by `beside` from piece to piece strays by an eighth of it times the length.
    inside = np.maximum(beside / 2.0, least)
    filled = np.histogram(x, knots)[0] >= ENOUGH_FIXES
    filled[np.clip(np.searchsorted(knots, x[gaps(x)], side="right") - 1, 0, len(filled) - 1)] = False
    unseen = max(WANDER_PPM, float(np.ptp(slopes)) / 2.0)  # a clock that bends may bend on
    inside = np.where(filled, inside, np.maximum(inside, unseen))
    return (unseen, *inside.tolist(), unseen)
