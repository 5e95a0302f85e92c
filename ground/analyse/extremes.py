"""The greatest height of a flight, how fast heights change, and how much of the time has samples."""

from dataclasses import dataclass, replace

import numpy as np

HALF_WINDOW_S = 10.0
COVER_GAP_S = 30.0


@dataclass(frozen=True)
class Extreme:
    """A value at a time of the timeline's axis, what it rests on, or the reason why there is none."""

    value: float | None = None
    time_s: float | None = None
    boot: int | None = None
    tick_ms: int | None = None
    height_m: float | None = None
    height_source: str | None = None
    method: str | None = None
    source: str | None = None
    samples: int | None = None
    coverage: float | None = None  # share of the flight's time within COVER_GAP_S between samples
    reason: str | None = None


@dataclass(frozen=True)
class Window:
    """The flight's times on the axis as far as they are known; the data's ends where not."""

    start_s: float
    top_s: float
    end_s: float


def greatest_height(heights, window, burst, top_is_seen=None) -> Extreme:
    """The highest fix; where the top has no fixes, the highest by air pressure. If the burst was
    found there, it is the height fitted to it, which scatters less than any sample. top_is_seen: whether the
    heights reach across the top; None: they do unless the burst lies in a gap.
    """
    series = heights.combined.between(window.start_s, window.end_s)
    if len(series) == 0:
        return Extreme(reason="no heights in the data")
    best = int(np.argmax(series["height_m"]))
    height_m = float(series["height_m"][best])
    if burst.in_gap and not top_is_seen:
        return Extreme(reason=f"the heights have a gap at the top; the highest one known is {height_m:.0f} m")
    by_fix = series["from_fix"][best] == 1
    source = heights.gnss.source if by_fix else heights.barometric.source
    alike = series.where(series["from_fix"] == series["from_fix"][best])
    method = "greatest sample after outliers were left out"
    if burst.time_s is not None and burst.height_source == source:
        height_m, method = burst.height_m, burst.method
    found = _extreme(series, best, height_m, series, window.start_s, window.end_s, method)
    return replace(found, height_m=height_m, height_source=source, source=source, samples=len(alike))


def height_rate_m_s(time_s, height_m):
    """Give the rate of change of a height series: between the means of the seconds before and after.

    time_s, height_m: float arrays (n,), times not decreasing. Returns a float array (n,), m/s, NaN
    where one side has fewer than three samples.
    """
    if len(time_s) < 7:
        return np.full(len(time_s), np.nan)
    half_s = max(HALF_WINDOW_S, 3.0 * float(np.median(np.diff(time_s))))
    index = np.arange(len(time_s))
    before = np.searchsorted(time_s, time_s - half_s, side="left")
    after = np.searchsorted(time_s, time_s + half_s, side="right")
    total_t = np.concatenate([[0.0], np.cumsum(time_s - time_s[0])])
    total_h = np.concatenate([[0.0], np.cumsum(height_m)])
    left, right = index - before, after - index - 1
    known = (left >= 3) & (right >= 3)
    left, right = np.maximum(left, 1), np.maximum(right, 1)
    rise = (total_h[after] - total_h[index + 1]) / right - (total_h[index] - total_h[before]) / left
    run = (total_t[after] - total_t[index + 1]) / right - (total_t[index] - total_t[before]) / left
    known &= run > 0
    return np.where(known, rise / np.where(known, run, 1.0), np.nan)


def _extreme(series, index, value, samples, start_s, end_s, method):
    """An Extreme at a sample of a series, found among these samples of a span of time."""
    return Extreme(
        value, float(series.time_s[index]), int(series.boot[index]), int(series.tick_ms[index]),
        method=method, source=samples.source, samples=len(samples),
        coverage=coverage(samples.time_s, start_s, end_s),
    )  # fmt: skip


def coverage(sample_times_s, start_s, end_s):
    """Give the share of a span of time that lies between samples at most COVER_GAP_S apart."""
    if not end_s > start_s or not np.isfinite(end_s - start_s):
        return None
    inside = np.clip(sample_times_s, start_s, end_s)
    steps_s = np.diff(np.concatenate([[start_s], inside, [end_s]]))
    return float(steps_s[steps_s <= COVER_GAP_S].sum() / (end_s - start_s))
