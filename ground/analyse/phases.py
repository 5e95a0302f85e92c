"""The rough shape of a flight: where on the axis of time the ground, the climb and the fall are."""

from dataclasses import dataclass

import numpy as np

LEAST_CLIMB_M = 300.0  # less is a hill, a mast or the weather on the barometer
LEAST_RATE_M_S = 1.0  # a slower rise is no balloon that was let go
STEP_S = 5.0
LOOK_AHEAD_S = 30.0
PAUSE_S = 60.0  # a climb may pause this long without having ended
STALL_S = 600.0  # and this long if it had already gained STALL_GAIN_M: a wave in the air
STALL_GAIN_M = 300.0
CAME_DOWN_M = 20.0  # what loses so much in a pause was let up on a line and pulled down again
# A payload at rest: nine tenths of the heights of this time lie so close together, and their trend is flat.
REST_S, REST_M, REST_M_S = 40.0, 15.0, 0.3
STILL_M_S = 1.0  # places on the ground seem to move less than this, by their scatter
DRIFT_M_S = 1.5  # what drifts faster, well above the place of the launch, floats
FLOATS_ABOVE_M = 300.0
PLUNGE_M, PLUNGE_S = 150.0, 60.0  # no car goes downhill so fast


@dataclass(frozen=True)
class Phases:
    """Times on the axis, s, good to about half a minute; None where the data do not show it, and
    then the reason says why. rest_s is the first time at which the payload lies still again.
    """

    climb_s: float | None  # the climb's beginning, or that of the data if they begin within it
    top_s: float | None
    rest_s: float | None
    no_flight: str | None = None
    no_rest: str | None = None


def find_phases(heights) -> Phases:
    """Find the phases in combined heights.

    heights: Series with the value "height_m", cleaned from outliers, and "drift_m_s" if the speed over
    ground is known.
    """
    if len(heights) < 3:
        return _no_flight("there are no heights in the data")
    time_s, height_m, drift = thin(heights)
    top = int(np.argmax(height_m))
    # Most of a climb must be in the data for it to be one; a log that begins in the fall has none.
    low = float(height_m[: top + 1].min())
    rise_m = float(height_m[top]) - low
    if rise_m < LEAST_CLIMB_M:
        if height_m[top] - height_m[top:].min() >= LEAST_CLIMB_M:
            rest_s, no_rest = _rest(time_s, height_m, drift, top)
            return Phases(None, None, rest_s, "the data hold no climb, only a fall", no_rest)
        return _no_flight(f"no height in the data lies {LEAST_CLIMB_M:.0f} m above an earlier one")
    quarter = int(np.flatnonzero(height_m[: top + 1] <= low + 0.25 * rise_m)[-1])
    three_quarters = quarter + int(np.argmax(height_m[quarter:] >= low + 0.75 * rise_m))
    rate_m_s = (height_m[three_quarters] - height_m[quarter]) / (time_s[three_quarters] - time_s[quarter])
    if rate_m_s < LEAST_RATE_M_S:
        return _no_flight(f"the rise in the data, {rate_m_s:.1f} m/s, is too slow for a free balloon")
    start = _climb_start(time_s, height_m, drift, quarter, rate_m_s)
    rest_s, no_rest = _rest(time_s, height_m, drift, top)
    return Phases(float(time_s[start]), float(time_s[top]), rest_s, None, no_rest)


def _no_flight(reason):
    return Phases(None, None, None, reason, reason)


def thin(heights, step_s=STEP_S):
    """Means of time, height and drift over steps; steps without a sample are left out.

    heights: Series as for find_phases. Returns three float arrays (n,); drift is NaN where it is not known.
    """
    step = np.floor(heights.time_s / step_s)
    start = np.flatnonzero(np.concatenate([[True], np.diff(step) > 0]))
    count = np.diff(np.concatenate([start, [len(step)]]))
    drift = heights.values.get("drift_m_s", np.full(len(heights), np.nan))
    known = np.isfinite(drift)
    drifts = np.add.reduceat(np.where(known, drift, 0.0), start), np.add.reduceat(known.astype(float), start)
    means = [np.add.reduceat(part, start) / count for part in (heights.time_s, heights["height_m"])]
    return *means, np.where(drifts[1] > 0, drifts[0] / np.maximum(drifts[1], 1.0), np.nan)


def _climb_start(time_s, height_m, drift, inside, rate_m_s):
    """The first step of the climb that goes on at step `inside`, searched backwards from there."""
    ahead_m = np.interp(time_s + LOOK_AHEAD_S, time_s, height_m) - height_m
    climbs = ahead_m > 0.4 * rate_m_s * LOOK_AHEAD_S
    lowest_m = np.minimum.accumulate(height_m)
    start = inside
    while start > 0:
        earlier = np.flatnonzero(climbs[:start])
        if len(earlier) == 0:
            return start
        last = int(earlier[-1])
        first = last
        while first > 0 and climbs[first - 1]:
            first -= 1
        pause_s = time_s[start] - time_s[last]
        gained_m = height_m[last] - height_m[first]
        if pause_s > (STALL_S if gained_m > STALL_GAIN_M else PAUSE_S) and last < start - 1:
            return start
        if last < start - 1:
            low = height_m[start] < lowest_m[start] + 100.0
            still = known_median(drift[last : start + 1]) < STILL_M_S  # False if the drift is unknown
            if height_m[last : start + 1].max() - height_m[start] > CAME_DOWN_M or (
                low and still and pause_s >= LOOK_AHEAD_S
            ):
                return start
        start = first
    return start


def known_median(values):
    """The median of the values that are known, NaN without any."""
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")


def _rest(time_s, height_m, drift, top):
    """(time at which the payload first lies still after the fall, None), or (None, the reason)."""
    fallen = np.flatnonzero(height_m[top:] < height_m[top] - LEAST_CLIMB_M / 3) + top
    if len(fallen) == 0:
        return None, "the data end before the fall"
    ground_m = float(height_m[: top + 1].min())
    plunges = height_m - np.interp(time_s + PLUNGE_S, time_s, height_m) > PLUNGE_M
    later_plunge = np.maximum.accumulate(plunges[::-1])[::-1]
    window_s = max(REST_S, 6 * float(np.median(np.diff(time_s[fallen]))) if len(fallen) > 1 else 0.0)
    for first in fallen[~later_plunge[fallen]]:
        last = int(np.searchsorted(time_s, time_s[first] + window_s, side="right"))
        if not _still(time_s[first:last], height_m[first:last]):
            continue
        if height_m[first] > ground_m + FLOATS_ABOVE_M:
            drifts_m_s = known_median(drift[first:last])
            if drifts_m_s > DRIFT_M_S or (
                # Without places nothing but its height tells what floats from what lies on a mountain.
                np.isnan(drifts_m_s)
                and height_m[first] - ground_m > max(3000.0, 0.3 * (height_m[top] - ground_m))
            ):
                continue
        return float(time_s[first]), None
    return None, f"the data end at a height of {height_m[-1]:.0f} m, before the payload lies still"


def _still(time_s, height_m):
    if len(time_s) < 3 or time_s[-1] - time_s[0] < LOOK_AHEAD_S / 3:
        return False
    lower, upper = np.percentile(height_m, (10, 90))
    begins_m = abs(float(np.median(height_m[:2])) - float(np.median(height_m)))
    run = time_s - time_s.mean()
    trend_m_s = float((run * height_m).sum() / (run * run).sum())
    # Over a short time the scatter of a few metres makes a trend of its own.
    flat_m_s = max(REST_M_S, 6.0 / (time_s[-1] - time_s[0]))
    return upper - lower < REST_M and begins_m < REST_M / 2 and abs(trend_m_s) < flat_m_s
