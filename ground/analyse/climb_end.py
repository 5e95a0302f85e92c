"""How the climb ended: in a fall, in a float, or in a slow descent."""

from dataclasses import dataclass, replace

import numpy as np

from ground.analyse.breakpoints import fit_burst
from ground.analyse.burst import LONGEST_GAP_S, all_around, falls_fast
from ground.analyse.moment import LEAST_UNCERTAINTY_S
from ground.analyse.phases import known_median, thin
from ground.analyse.series import covered, running_median

FALL, CUT, FLOAT, SLOW, UNKNOWN = "fall", "cut down", "float", "slow descent", "unknown"
GRID_S = 10.0
RATE_HALF_S = 45.0
LEVEL_SHARE, LEVEL_M_S = 0.2, 0.5  # of the climb rate, and at least: slower is level
LEAST_FLOAT_S = 240.0
BRIDGE_S = 180.0  # a wave in the air may interrupt a float this long
HIGH_SHARE = 0.75  # a float is above this share of the climb
SINKS_M_S = 0.3  # a steady change of height faster than this is a slow descent, no float
MORE_CLIMB_M = 300.0  # what climbs on by more only paused
LARGEST_GAP_S = 60.0
SWITCH_S = 20.0  # a switch that changed so shortly before a fall can have let the balloon go


@dataclass(frozen=True)
class ClimbEnd:
    """kind: one of the words above; FALL is a burst or a cut down, which heights cannot tell apart.

    time_s: when the climb ended, on the axis; uncertainty_s: one standard deviation. height_m: there; rate_m_s: how
    fast it still rose there, where the climb died away.
    float_start_s, float_end_s, lowest_m, highest_m: of the float. fall_s: when the payload began to fall
    after it, fall_uncertainty_s: one standard deviation. ends_with_data: the float goes on until the data
    end. switch_s: when a switch changed just before the fall. reason: why the kind is unknown.
    What does not apply is None.
    """

    kind: str
    time_s: float | None = None
    uncertainty_s: float | None = None
    height_m: float | None = None
    rate_m_s: float | None = None
    float_start_s: float | None = None
    float_end_s: float | None = None
    lowest_m: float | None = None
    highest_m: float | None = None
    fall_s: float | None = None
    fall_uncertainty_s: float | None = None
    ends_with_data: bool = False
    switch_s: float | None = None
    reason: str | None = None


def find_climb_end(timeline, heights, phases, burst) -> ClimbEnd:
    """Say how the climb ended. Arguments as for find_burst; burst: the Moment that it found."""
    if phases.no_flight:
        return ClimbEnd(UNKNOWN, reason=phases.no_flight)
    floating = _float(heights, phases)
    if floating is not None:
        return _with_fall(timeline, heights, floating)
    if burst.time_s is not None:
        switch_s = _switch_before(timeline, burst.time_s)
        kind = FALL if switch_s is None else CUT
        return ClimbEnd(
            kind, burst.time_s, burst.uncertainty_s, burst.height_m, fall_s=burst.time_s,
            fall_uncertainty_s=burst.uncertainty_s, switch_s=switch_s,
        )  # fmt: skip
    combined = heights.combined
    after = combined.between(phases.top_s, np.inf)
    slowly = burst.reason is not None and "without a fall" in burst.reason
    if slowly and len(after) and after["height_m"][0] - after["height_m"].min() > 100.0:
        top_m = float(np.interp(phases.top_s, combined.time_s, combined["height_m"]))
        return ClimbEnd(SLOW, phases.top_s, RATE_HALF_S, top_m)
    return ClimbEnd(UNKNOWN, reason=burst.reason)


def _float(heights, phases):
    """The longest time for which the payload stays high up without a climb or a fall, or None."""
    combined = heights.combined
    time_s, height_m, _ = thin(combined, GRID_S)
    if len(time_s) < 10:
        return None
    low_m = float(np.interp(phases.climb_s, time_s, height_m))
    top_m = float(height_m.max())
    smooth_m = running_median(height_m, 5)
    before_s, after_s = np.maximum(time_s - RATE_HALF_S, time_s[0]), np.minimum(time_s + RATE_HALF_S, time_s[-1])
    rise_m = np.interp(after_s, time_s, smooth_m) - np.interp(before_s, time_s, smooth_m)
    rate_m_s = rise_m / np.maximum(after_s - before_s, 1.0)
    climbing = (time_s > phases.climb_s) & (smooth_m > low_m + 0.25 * (top_m - low_m)) & (rate_m_s > 0.5)
    climbing &= smooth_m < low_m + HIGH_SHARE * (top_m - low_m)
    usual_m_s = known_median(rate_m_s[climbing & (time_s < phases.top_s)])
    allowed_m_s = max(LEVEL_M_S, LEVEL_SHARE * usual_m_s) if np.isfinite(usual_m_s) else LEVEL_M_S
    end_s = phases.rest_s if phases.rest_s is not None else np.inf
    level = (np.abs(rate_m_s) < allowed_m_s) & (time_s > phases.climb_s) & (time_s < end_s)
    level &= (smooth_m > low_m + HIGH_SHARE * (top_m - low_m)) & covered(combined.time_s, time_s, LARGEST_GAP_S)
    best = None
    for first, last in _groups(time_s, level):
        if best is None or time_s[last] - time_s[first] > time_s[best[1]] - time_s[best[0]]:
            best = first, last
    if best is None or time_s[best[1]] - time_s[best[0]] < LEAST_FLOAT_S:
        return None
    first, last = best
    band = smooth_m[first : last + 1]
    third = max(len(band) // 3, 1)
    change_m = float(np.median(band[-third:]) - np.median(band[:third]))
    sinks = abs(change_m) > SINKS_M_S * max(time_s[last - third] - time_s[first], 1.0)
    climbs_on = smooth_m[last:].max() > band.max() + MORE_CLIMB_M
    if sinks or climbs_on or _turns(rate_m_s[first : last + 1], allowed_m_s):
        return None
    return ClimbEnd(
        FLOAT, float(time_s[first]), RATE_HALF_S, float(smooth_m[first]), float(rate_m_s[first]),
        float(time_s[first]), float(time_s[last]), float(band.min()), float(band.max()),
        ends_with_data=bool(time_s[-1] - time_s[last] < 2 * GRID_S),
    )  # fmt: skip


def _groups(time_s, level):
    """(first, last) index of the runs in which `level` holds, short interruptions bridged."""
    at = np.flatnonzero(level)
    if len(at) == 0:
        return []
    cut = np.flatnonzero(np.diff(time_s[at]) > BRIDGE_S)
    return list(zip(at[np.concatenate([[0], cut + 1])], at[np.concatenate([cut, [len(at) - 1]])], strict=True))


def _turns(rate_m_s, allowed_m_s):
    """True if the rate changes steadily from a climb to a fall: that is a slow turn, no float."""
    begins, middle, ends = (float(np.median(part)) for part in np.array_split(rate_m_s, 3))
    return begins - ends > allowed_m_s and begins > middle > ends


def _with_fall(timeline, heights, floating):
    """Add when an abrupt fall ended the float, if one did."""
    if floating.ends_with_data:
        return floating
    combined = heights.combined
    late = combined.between(floating.float_end_s - 60.0, floating.float_end_s + 300.0)
    level_m = float(np.median(combined.between(*(floating.float_end_s + np.array([-60.0, 0.0])))["height_m"]))
    above = np.flatnonzero(late["height_m"] >= level_m - 20.0)
    if len(above) == 0:
        return floating
    about_s = float(late.time_s[above[-1]])
    gap_s = float(late.time_s[above[-1] + 1]) - about_s if above[-1] + 1 < len(late) else 0.0
    if gap_s > LONGEST_GAP_S and falls_fast(combined, about_s):
        return _fallen(timeline, floating, about_s + gap_s / 2, gap_s / 4)
    series = all_around(heights, about_s)[0]
    window = series.between(about_s - 60.0, about_s + 15.0)
    if len(window) < 15 or not falls_fast(combined, about_s):
        return floating
    bend = fit_burst(window.time_s, window["height_m"], about_s - 15.0, about_s + 5.0)
    return _fallen(timeline, floating, bend.time_s, max(bend.uncertainty_s, LEAST_UNCERTAINTY_S, 1.0))


def _fallen(timeline, floating, fall_s, uncertainty_s):
    switch_s = _switch_before(timeline, fall_s)
    return replace(
        floating, float_end_s=fall_s, fall_s=fall_s, fall_uncertainty_s=uncertainty_s, switch_s=switch_s
    )


def _switch_before(timeline, fall_s):
    """The last time that a switch changed just before a fall, None if none did."""
    times = timeline.event_times("switch changed")
    near = times[(times >= fall_s - SWITCH_S) & (times <= fall_s + 1.0)]
    return float(near[-1]) if len(near) else None
