"""How much of a flight each source of positions covers, where it fell silent, and whether the sources agree.

A source that reports every p seconds covers the 3 p after each of its reports: whoever listens expects the next one
within p, and misses two before calling it silent (a convention of this program).
"""

from dataclasses import dataclass

import numpy as np

from ground.physics.geodesy import distance_m

PERIODS = 3.0
BAND_M = 2000.0
LEAST_PERIOD_S = 1.0
QUARTER = 0.25  # of the intervals: losses make intervals longer, never shorter
LEAST_SHARED = 3  # reports that say whether two sources agree


@dataclass(frozen=True)
class Silence:
    """The longest time without a report. start_s, end_s: on the axis; heights in m, NaN where not known."""

    start_s: float
    end_s: float
    from_m: float
    to_m: float

    @property
    def length_s(self):
        """How long it was."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Agreement:
    """Differences of position at the same times: medians, and what 95 % stay below. up_m: median of how much higher
    the source is; heights are None where it gives none. samples: reports that were compared.
    """

    median_m: float
    most_m: float
    up_m: float | None
    up_most_m: float | None
    samples: int


def usual_interval_s(report_s):
    """Give the period of a source: the interval that a quarter of its intervals do not exceed, so that it is right
    as long as less than three quarters of the reports are lost.

    report_s: float array (n,), ascending. Returns s, at least LEAST_PERIOD_S; NaN with fewer than three.
    """
    if len(report_s) < 3:
        return np.nan
    return max(float(np.quantile(np.diff(report_s), QUARTER)), LEAST_PERIOD_S)


def is_covered(report_s, period_s, time_s):
    """True where one of the reports came at most PERIODS periods before. All s; report_s ascending, time_s (m,)."""
    if len(report_s) == 0:
        return np.zeros(len(time_s), bool)
    last = np.searchsorted(report_s, time_s, side="right") - 1
    since_s = time_s - report_s[np.maximum(last, 0)]
    return (last >= 0) & (since_s <= PERIODS * (period_s if np.isfinite(period_s) else LEAST_PERIOD_S))


def height_grid(time_s, height_m, start_s, end_s, step_s=1.0, gap_s=120.0):
    """Give (times, heights) every step_s of a span; heights are interpolated, NaN in gaps longer than gap_s.

    time_s, height_m: float arrays (n,), ascending times. The grid has at most some 200 000 points.
    """
    step_s = max(step_s, (end_s - start_s) / 200_000.0)
    grid_s = np.arange(start_s, end_s, step_s)
    if len(time_s) == 0 or len(grid_s) == 0:
        return grid_s, np.full(len(grid_s), np.nan)
    after = np.searchsorted(time_s, grid_s, side="left")
    before_s = time_s[np.maximum(after - 1, 0)]
    after_s = time_s[np.minimum(after, len(time_s) - 1)]
    near = (np.abs(grid_s - before_s) <= gap_s) & (np.abs(grid_s - after_s) <= gap_s)  # beyond the ends one is far
    known = near & (after_s - before_s <= gap_s)
    return grid_s, np.where(known, np.interp(grid_s, time_s, height_m), np.nan)


def band_edges_m(height_m, band_m=BAND_M):
    """Give the edges of bands of height, multiples of band_m, that hold all known heights; two at least."""
    known = height_m[np.isfinite(height_m)]
    low, high = (known.min(), known.max()) if len(known) else (0.0, 1.0)
    first, last = np.floor(low / band_m), max(np.floor(high / band_m), np.floor(low / band_m))
    return np.arange(first, last + 1.5) * band_m


def cover_by_band(report_s, period_s, grid_s, height_m, top_s, edges_m):
    """Give (share up, share down, reports) of each band of height.

    report_s: float array (n,), ascending. grid_s, height_m: (m,), see height_grid. top_s: where up becomes down.
    edges_m: (b + 1,). Shares are of the time that the payload spent in the band, NaN where it spent none there;
    reports: int array (b,), of those at a time whose height is known.
    """
    covered = is_covered(report_s, period_s, grid_s)
    shares = []
    for part in (grid_s <= top_s, grid_s > top_s):
        spent = np.histogram(height_m[part & np.isfinite(height_m)], edges_m)[0]
        heard = np.histogram(height_m[part & covered & np.isfinite(height_m)], edges_m)[0]
        shares.append(np.where(spent > 0, heard / np.maximum(spent, 1), np.nan))
    at_m = heights_at(report_s, grid_s, height_m)
    return shares[0], shares[1], np.histogram(at_m[np.isfinite(at_m)], edges_m)[0]


def heights_at(time_s, grid_s, height_m):
    """Heights at times (n,) from a grid: those of its nearest point, NaN outside it."""
    if len(grid_s) == 0 or len(time_s) == 0:
        return np.full(len(time_s), np.nan)
    step_s = grid_s[1] - grid_s[0] if len(grid_s) > 1 else 1.0
    index = np.rint((np.asarray(time_s) - grid_s[0]) / step_s)
    inside = (index >= 0) & (index < len(grid_s) + 1)
    return np.where(inside, height_m[np.clip(index, 0, len(grid_s) - 1).astype(int)], np.nan)


def longest_silence(report_s, grid_s, height_m):
    """Give the Silence of a flight (the span of the grid), its ends included; None with an empty grid."""
    if len(grid_s) == 0:
        return None
    inside = report_s[(report_s > grid_s[0]) & (report_s < grid_s[-1])]
    marks = np.concatenate([grid_s[:1], inside, grid_s[-1:]])
    widest = int(np.argmax(np.diff(marks))) if len(marks) > 1 else 0
    ends = marks[[widest, min(widest + 1, len(marks) - 1)]]
    low_m, high_m = heights_at(ends, grid_s, height_m)
    return Silence(float(ends[0]), float(ends[1]), float(low_m), float(high_m))


def agreement(source, own, gap_s=10.0):
    """Compare positions with those of another source at the same times, or give None with fewer than LEAST_SHARED.

    source, own: (time_s, latitude_deg, longitude_deg, height_m) float arrays (n,), ascending times; heights may be
    NaN. Own positions are interpolated where they are at most gap_s apart.
    """
    time_s, latitude, longitude, height = source
    own_s = own[0]
    if len(own_s) < 2 or len(time_s) == 0:
        return None
    after = np.clip(np.searchsorted(own_s, time_s, side="left"), 1, len(own_s) - 1)
    shared = (time_s >= own_s[0]) & (time_s <= own_s[-1]) & (own_s[after] - own_s[after - 1] <= gap_s)
    if shared.sum() < LEAST_SHARED:
        return None
    at_s = time_s[shared]
    north, east, up = (np.interp(at_s, own_s, values) for values in own[1:])
    away_m = distance_m(north, east, latitude[shared], longitude[shared])
    higher_m = height[shared] - up
    higher_m = higher_m[np.isfinite(higher_m)]
    has_height = len(higher_m) >= LEAST_SHARED
    return Agreement(
        float(np.median(away_m)), float(np.quantile(away_m, 0.95)),
        float(np.median(higher_m)) if has_height else None,
        float(np.quantile(np.abs(higher_m), 0.95)) if has_height else None, len(at_s),
    )  # fmt: skip
