"""The rough shape of a flight: where on the axis of time the ground, the climb and the fall are."""

from dataclasses import dataclass

import numpy as np

LEAST_CLIMB_M = 300.0  # less is a hill, a mast or the weather on the barometer
LEAST_RATE_M_S = 1.0  # a slower rise is no balloon that was let go
STEP_S = 5.0
LOOK_AHEAD_S = 30.0
PAUSE_S = 60.0  # a climb may pause this long without having ended
STALL_S = 600.0  # and this long if it had already gained STALL_GAIN_M: a wave in the air
STALL_GAIN_M = 200.0
REST_M = 15.0  # a payload on the ground moves less than this, including the scatter of its fixes


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

    heights: Series with the value "height_m", cleaned from outliers.
    """
    if len(heights) < 3:
        return _no_flight("there are no heights in the data")
    time_s, height_m = _thin(heights.time_s, heights["height_m"])
    top = int(np.argmax(height_m))
    # Most of a climb must be in the data for it to be one; a log that begins in the fall has none.
    low = float(height_m[: top + 1].min())
    rise_m = float(height_m[top]) - low
    if rise_m < LEAST_CLIMB_M:
        if height_m[top] - height_m[top:].min() >= LEAST_CLIMB_M:
            rest_s, no_rest = _rest(time_s, height_m, top)
            return Phases(None, None, rest_s, "the data hold no climb, only a fall", no_rest)
        return _no_flight(f"no height in the data lies {LEAST_CLIMB_M:.0f} m above an earlier one")
    quarter = int(np.flatnonzero(height_m[: top + 1] <= low + 0.25 * rise_m)[-1])
    three_quarters = quarter + int(np.argmax(height_m[quarter:] >= low + 0.75 * rise_m))
    rate_m_s = (height_m[three_quarters] - height_m[quarter]) / (time_s[three_quarters] - time_s[quarter])
    if rate_m_s < LEAST_RATE_M_S:
        return _no_flight(f"the rise in the data, {rate_m_s:.1f} m/s, is too slow for a free balloon")
    start = _climb_start(time_s, height_m, quarter, rate_m_s)
    rest_s, no_rest = _rest(time_s, height_m, top)
    return Phases(float(time_s[start]), float(time_s[top]), rest_s, None, no_rest)


def _no_flight(reason):
    return Phases(None, None, None, reason, reason)


def _thin(time_s, height_m):
    """Means of the samples in steps of STEP_S; empty steps are left out."""
    step = np.floor(time_s / STEP_S)
    start = np.flatnonzero(np.concatenate([[True], np.diff(step) > 0]))
    count = np.diff(np.concatenate([start, [len(step)]]))
    return np.add.reduceat(time_s, start) / count, np.add.reduceat(height_m, start) / count


def _climb_start(time_s, height_m, inside, rate_m_s):
    """The first step of the climb that goes on at step `inside`, searched backwards from there."""
    ahead_m = np.interp(time_s + LOOK_AHEAD_S, time_s, height_m) - height_m
    climbs = ahead_m > 0.4 * rate_m_s * LOOK_AHEAD_S
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
        start = first
    return start


def _rest(time_s, height_m, top):
    """(time at which the payload first lies still after the fall, None), or (None, the reason)."""
    fallen = np.flatnonzero(height_m[top:] < height_m[top] - LEAST_CLIMB_M / 3) + top
    if len(fallen) == 0:
        return None, "the data end before the fall"
    window_s = max(LOOK_AHEAD_S, 6 * float(np.median(np.diff(time_s[fallen]))) if len(fallen) > 1 else 0.0)
    for first in fallen:
        last = int(np.searchsorted(time_s, time_s[first] + window_s, side="right"))
        ahead = height_m[first:last]
        if (
            len(ahead) >= 3
            and np.ptp(ahead) < REST_M
            and time_s[last - 1] - time_s[first] >= LOOK_AHEAD_S / 3
        ):
            return float(time_s[first]), None
    return None, f"the data end at a height of {height_m[-1]:.0f} m, before the payload lies still"
