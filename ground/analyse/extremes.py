"""The greatest, coldest and fastest of a flight, and where it was."""

from dataclasses import dataclass, replace

import numpy as np

from ground.analyse.heights import air_temperature, valid_fixes
from ground.analyse.phases import LEAST_CLIMB_M
from ground.analyse.series import running_median

SMOOTH_SAMPLES = 5
HALF_WINDOW_S = 10.0
COVER_GAP_S = 30.0
ENOUGH_SHARE = 0.8


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


def greatest_height(heights, window, burst) -> Extreme:
    """The highest fix; where the top has no fixes, the highest by air pressure. If the burst was
    found there, it is the height fitted to it, which scatters less than any sample.
    """
    series = heights.combined.between(window.start_s, window.end_s)
    if len(series) == 0:
        return Extreme(reason="no heights in the data")
    best = int(np.argmax(series["height_m"]))
    height_m = float(series["height_m"][best])
    if burst.in_gap:
        return Extreme(reason=f"the heights have a gap at the top; the highest one known is {height_m:.0f} m")
    by_fix = series["from_fix"][best] == 1
    source = heights.gnss.source if by_fix else heights.barometric.source
    alike = series.where(series["from_fix"] == series["from_fix"][best])
    method = "greatest sample after outliers were left out"
    if burst.time_s is not None and burst.height_source == source:
        height_m, method = burst.height_m, burst.method
    found = _extreme(series, best, height_m, series, window.start_s, window.end_s, method)
    return replace(found, height_m=height_m, height_source=source, source=source, samples=len(alike))


def coldest_air(timeline, heights, window) -> Extreme:
    """The lowest air temperature: the outside thermometer's, else the humidity chip's."""
    for column in ("temperature_degC", "humidity_chip_temperature_degC"):
        air = air_temperature(timeline, column).between(window.start_s, window.end_s)
        if len(air):
            return _lowest(air, column, heights, window)
    return Extreme(reason="no air temperature in the data")


def _lowest(air, column, heights, window):
    smooth = running_median(air[column], SMOOTH_SAMPLES)
    best = int(np.argmin(smooth))
    method = f"lowest running median of {SMOOTH_SAMPLES}"
    found = _extreme(air, best, float(smooth[best]), air, window.start_s, window.end_s, method)
    return _with_height(found, heights)


def greatest_ground_speed(timeline, heights, window) -> Extreme:
    """The greatest speed over ground that the fixes report."""
    fixes = valid_fixes(timeline, ("ground_speed_m_s",)).between(window.start_s, window.end_s)
    if len(fixes) == 0:
        return Extreme(reason="no fix with a speed in the data")
    smooth = running_median(fixes["ground_speed_m_s"], SMOOTH_SAMPLES)
    best = int(np.argmax(smooth))
    method = f"greatest running median of {SMOOTH_SAMPLES}"
    found = _extreme(fixes, best, float(smooth[best]), fixes, window.start_s, window.end_s, method)
    return _with_height(found, heights)


def greatest_fall_speed(timeline, heights, window, burst) -> Extreme:
    """The greatest speed downwards: the receiver's own vertical speed if most fixes of the fall have
    it, else the change of height.
    """
    if heights.span_m() < LEAST_CLIMB_M:
        return Extreme(reason="the data hold no fall")
    if burst.in_gap:
        return Extreme(reason="the heights have a gap at the beginning of the fall, where it is fastest")
    falling = heights.combined.between(window.top_s, window.end_s)
    own = valid_fixes(timeline, ("vertical_speed_m_s",)).between(window.top_s, window.end_s)
    if len(own) >= max(ENOUGH_SHARE * len(falling), SMOOTH_SAMPLES):
        smooth = running_median(own["vertical_speed_m_s"], SMOOTH_SAMPLES)
        best = int(np.argmin(smooth))
        method = f"lowest running median of {SMOOTH_SAMPLES}"
        found = _extreme(own, best, -float(smooth[best]), own, window.top_s, window.end_s, method)
        return _with_height(found, heights)
    rate_m_s = height_rate_m_s(falling.time_s, falling["height_m"])
    if not np.isfinite(rate_m_s).any() or np.nanmin(rate_m_s) >= 0:
        return Extreme(reason="the data hold no fall")
    best = int(np.nanargmin(rate_m_s))
    height_m = float(falling["height_m"][best])
    source = heights.gnss.source if falling["from_fix"][best] == 1 else heights.barometric.source
    method = f"mean heights of the {HALF_WINDOW_S:.0f} s before and after"
    found = _extreme(falling, best, -float(rate_m_s[best]), falling, window.top_s, window.end_s, method)
    return replace(found, height_m=height_m, height_source=source, source=source)


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


def climb_rate(heights, window, launch, burst) -> Extreme:
    """The mean rate of the climb: the height that it gained over the time that it took. Where launch or burst is
    not known, the straight line through the heights that there are.
    """
    series = heights.combined.between(window.start_s, window.top_s)
    if heights.span_m() < LEAST_CLIMB_M or len(series) < 10 or window.top_s - window.start_s < 60.0:
        return Extreme(reason="the data hold no climb")
    share = coverage(series.time_s, window.start_s, window.top_s)
    ends = (launch.time_s, launch.height_m, burst.time_s, burst.height_m)
    if None not in ends and _same_source(launch, burst) and burst.time_s > launch.time_s:
        rate = (burst.height_m - launch.height_m) / (burst.time_s - launch.time_s)
        method = "height gained from launch to burst over the time between them"
    else:
        run = series.time_s - series.time_s.mean()
        rate = float((run * (series["height_m"] - series["height_m"].mean())).sum() / (run * run).sum())
        method = "straight line through all heights of the climb, least squares"
    return Extreme(rate, method=method, source=series.source, samples=len(series), coverage=share)


def _same_source(*moments):
    """True if the heights of these moments were measured alike; what follows a comma is how they were joined."""
    return len({moment.height_source.partition(",")[0] for moment in moments}) == 1


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


def _with_height(extreme, heights):
    height_m, source = heights.at(extreme.time_s)
    return replace(extreme, height_m=height_m, height_source=source)
