"""Launch and landing: the moments at which a payload leaves the ground and comes back to it."""

from dataclasses import replace

import numpy as np

from ground.analyse.breakpoints import fit_bend, fit_release
from ground.analyse.height_error import height_error_m
from ground.analyse.landing_place import place_of_landing
from ground.analyse.moment import FIX_GAP_S, Moment, moment_of, widest_gap
from ground.analyse.series import running_median

OFF_THE_GROUND_M = 20.0  # a payload this far above the ground flies
STRAIGHT_S = 60.0  # a climb or fall is straight over this time
SHORT_S = 25.0  # for pressure, which scatters little, less is enough, and less bent by gusts
LEAST_BEND_S = 0.5  # one standard deviation: of how a balloon gathers speed, and of gusts near the ground
WANDER_M = 4.0  # heights of fixes wander so far from each other within a minute (common practice, no source)
HOP_M = 10.0  # who is so far from the ground of the launch is not waiting for it
GROUND_S = 180.0  # how much of the time on the ground a fit takes in
LONGEST_BEND_GAP_S = 120.0  # both sides are straight, so that they can be drawn on to meet
SHARE_OF_BEND_GAP = 0.05  # the rate may change by so much within the gap
LEAST_GROUND_S = 10.0  # a shorter time before the climb does not show a payload standing still
REST_WINDOW_S = 600.0  # fixes of the first ten minutes after the landing give its place


def find_launch(timeline, heights, phases, fixes) -> Moment:
    """Find the launch. Arguments as for find_burst."""
    if phases.no_flight:
        return Moment("launch", reason=phases.no_flight, place_reason=phases.no_flight)
    combined = heights.combined
    ground_m = _median_height(combined.between(phases.climb_s - GROUND_S, phases.climb_s + 10.0))
    up_s = _first_at(combined.between(phases.climb_s, phases.top_s), ground_m + OFF_THE_GROUND_M)
    if up_s is None:
        up_s = phases.top_s
    series = _steadier(heights, up_s - GROUND_S, up_s, up_s + STRAIGHT_S)
    straight_s = SHORT_S if series is heights.pressure else STRAIGHT_S
    from_s = _waiting_from(series.between(up_s - GROUND_S, up_s), up_s)
    window = series.between(from_s, up_s + straight_s)
    before = len(series.between(from_s, up_s))
    if before < 5 or len(window) - before < 5:
        reason = _too_few(combined, phases.climb_s - STRAIGHT_S, up_s + STRAIGHT_S)
        return Moment("launch", reason=reason, place_reason=reason)
    bend = fit_release(window.time_s, window["height_m"], float(window.time_s[0]), up_s)
    bend = _honest(bend, series is heights.pressure)
    if not _level(window.between(-np.inf, bend.time_s), bend.rate_m_s):
        first_m = combined["height_m"][0]
        reason = f"the data hold too little of the ground before the climb; they begin at {first_m:.0f} m"
        return Moment("launch", reason=reason, place_reason=reason)
    moment = moment_of("launch", timeline, window, bend, "release from rest into a steady climb, least squares")
    moment = _across_gap(moment, window, bend.time_s)
    # Seen backwards in time, what is carried to the place of the launch is dragged away from it.
    found = place_of_landing(
        fixes.backwards(), -bend.time_s, LEAST_BEND_S, -bend.time_s, -max(from_s, bend.time_s - GROUND_S)
    )
    return _on_ground(moment, heights, fixes.between(from_s, bend.time_s), found, from_s, bend.time_s)


def find_landing(timeline, heights, phases, fixes) -> Moment:
    """Find the landing. Arguments as for find_burst."""
    if phases.rest_s is None:
        return Moment("landing", reason=phases.no_rest, place_reason=phases.no_rest)
    combined, rest_s = heights.combined, phases.rest_s
    ground_m = _median_height(combined.between(rest_s + 5.0, rest_s + GROUND_S))
    # Seen backwards in time a landing is a launch.
    down_s = _first_at(
        combined.between(-np.inf, rest_s + STRAIGHT_S).backwards(), ground_m + OFF_THE_GROUND_M
    )
    down_s = rest_s if down_s is None else -down_s
    series = _steadier(heights, down_s - STRAIGHT_S, down_s, down_s + GROUND_S)
    straight_s = SHORT_S if series is heights.pressure else STRAIGHT_S
    window = series.between(down_s - straight_s, down_s + GROUND_S)
    falling = len(series.between(down_s - straight_s, down_s))
    moment, ground_s = Moment("landing"), rest_s
    if falling < 5 or len(window) - falling < 5:
        moment = replace(moment, reason=_too_few(combined, down_s - STRAIGHT_S, rest_s + STRAIGHT_S))
    else:
        mirrored = window.backwards()
        bend = fit_bend(mirrored.time_s, mirrored["height_m"], float(mirrored.time_s[0]), -down_s)
        bend = replace(_honest(bend, series is heights.pressure), time_s=-bend.time_s, rate_m_s=-bend.rate_m_s)
        moment = moment_of("landing", timeline, window, bend, "bend between fall and ground, least squares")
        moment = _across_gap(moment, window, bend.time_s)
        ground_s = bend.time_s + 5.0 if moment.time_s is not None else rest_s
    near = fixes.between(ground_s, ground_s + REST_WINDOW_S)
    at_s = ground_s if moment.time_s is None else moment.time_s
    found = place_of_landing(fixes, at_s, moment.uncertainty_s or 5.0, ground_s, ground_s + REST_WINDOW_S)
    return _on_ground(moment, heights, near, found, ground_s, ground_s + GROUND_S)


def _honest(bend, by_pressure):
    """The bend with an uncertainty that also holds what the scatter of its samples does not show."""
    wander_s = 0.0 if by_pressure else WANDER_M / max(abs(bend.rate_m_s), 0.5)
    uncertainty_s = float(np.hypot(max(bend.uncertainty_s, LEAST_BEND_S), wander_s))
    return replace(bend, uncertainty_s=uncertainty_s)


def _first_at(series, height_m):
    above = np.flatnonzero(series["height_m"] >= height_m)
    return float(series.time_s[above[0]]) if len(above) else None


def _level(before, rate_m_s):
    """True if these samples are of a payload that stands still, compared with its rate afterwards."""
    if len(before) < 5 or before.time_s[-1] - before.time_s[0] < LEAST_GROUND_S:
        return False
    slope = np.polyfit(before.time_s - before.time_s[0], before["height_m"], 1)[0]
    return abs(slope) < 0.3 * abs(rate_m_s)


def _too_few(combined, start_s, end_s):
    gap_s, _ = widest_gap(combined, start_s, end_s)
    if not np.isfinite(gap_s):
        return f"the data begin or end there, at {_median_height(combined.between(start_s, end_s)):.0f} m"
    return f"it lies in a gap of {gap_s:.0f} s in the heights"


def _steadier(heights, start_s, middle_s, end_s):
    """The series to time a bend near the ground by: pressure if it reaches without a gap across the
    bend, as it scatters least, else fixes, else both.
    """
    for series in (heights.pressure, heights.gnss):
        enough = min(len(series.between(start_s, middle_s)), len(series.between(middle_s, end_s))) >= 10
        if enough and widest_gap(series, middle_s - FIX_GAP_S, middle_s + FIX_GAP_S)[0] <= FIX_GAP_S:
            return series
    return heights.combined


def _across_gap(moment, window, time_s):
    """Widen the uncertainty of a bend that lies in a gap; withdraw it if the gap is too wide."""
    gap_s, gap_from_s = widest_gap(window, time_s - 1.0, time_s + 1.0)
    if gap_s > LONGEST_BEND_GAP_S:
        return Moment(moment.name, reason=f"it lies in a gap of {gap_s:.0f} s in the heights")
    if gap_s <= FIX_GAP_S:
        return moment
    return replace(moment, uncertainty_s=max(moment.uncertainty_s, SHARE_OF_BEND_GAP * gap_s))


def _waiting_from(before, up_s):
    """When the wait for the launch begins in these heights before it: after the last hop or lift."""
    last = before.between(up_s - 30.0, up_s - 8.0)
    if len(last) < 3:
        return up_s - GROUND_S
    ground_m = _median_height(last)
    smooth_m = running_median(before["height_m"], 7)
    away = np.flatnonzero((np.abs(smooth_m - ground_m) > HOP_M) & (before.time_s < up_s - 30.0))
    return up_s - GROUND_S if len(away) == 0 else float(before.time_s[away[-1]])


def _on_ground(moment, heights, near, found, start_s, end_s):
    """Add place and height of a moment on the ground. near: fixes there; found: what place_of_landing found;
    start_s to end_s is on the ground.
    """
    ground, by_fix = heights.gnss.between(start_s, end_s), True
    if len(ground) < 3:
        ground, by_fix = heights.barometric.between(start_s, end_s), False
    if len(ground) >= 3:
        source = (heights.gnss if by_fix else heights.barometric).source
        scatter_m = float(np.median(np.abs(ground["height_m"] - np.median(ground["height_m"]))))
        error_m = float(np.hypot(height_error_m(heights, ground.time_s[0], by_fix), scatter_m / 2.0))
        moment = replace(
            moment, height_m=_median_height(ground), height_source=f"{source}, median", height_error_m=error_m
        )
    if found is None:
        reason = "the payload did not lie still" if len(near) >= 3 else "there are no fixes on the ground there"
        return replace(moment, place_reason=reason)
    place, error_m, how = found
    return replace(
        moment, latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg, place_error_m=error_m,
        place_source=f"fix.latitude_deg, fix.longitude_deg, {how} of {place.samples}",
    )  # fmt: skip


def _median_height(series):
    return float(np.median(series["height_m"])) if len(series) else 0.0
