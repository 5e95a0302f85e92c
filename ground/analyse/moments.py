"""Launch, burst and landing: when, where and how high, each with what it rests on."""

from dataclasses import dataclass, replace

import numpy as np

from ground.analyse.breakpoints import fit_bend
from ground.analyse.burst import find_burst
from ground.analyse.moment import FIX_GAP_S, Moment, moment_of, widest_gap
from ground.analyse.places import place_at_rest, position_fixes

OFF_THE_GROUND_M = 20.0  # a payload this far above the ground flies
STRAIGHT_S = 60.0  # a climb or fall is straight over this time
GROUND_S = 180.0  # how much of the time on the ground a fit takes in
LONGEST_BEND_GAP_S = 120.0  # both sides are straight, so that they can be drawn on to meet
SHARE_OF_BEND_GAP = 0.05  # the rate may change by so much within the gap
LEAST_GROUND_S = 10.0  # a shorter time before the climb does not show a payload standing still
REST_WINDOW_S = 600.0  # fixes of the first ten minutes after the landing give its place


@dataclass(frozen=True)
class Moments:
    launch: Moment
    burst: Moment
    landing: Moment


def find_moments(timeline, heights, phases) -> Moments:
    """Find launch, burst and landing.

    timeline: Timeline; heights: Heights and phases: Phases on its axis.
    """
    fixes = position_fixes(timeline)
    launch = _launch(timeline, heights, phases, fixes)
    burst = find_burst(timeline, heights, phases, fixes)
    landing = _landing(timeline, heights, phases, fixes)
    return Moments(launch, burst, landing)


def seconds_since_launch(table, launch):
    """Give the column of seconds since the launch for a Table, float array (n,).

    By UTC where the record and the launch have it, else by ticks within the launch's boot; NaN in
    other boots, because ticks start anew with each.
    """
    columns = table.columns
    seconds = np.full(len(table), np.nan)
    if launch.boot is not None:
        same = columns["boot"] == launch.boot
        seconds[same] = (columns["tick_ms"][same] - launch.tick_ms) / 1000.0
    if launch.utc is not None:
        known = ~np.isnat(columns["utc"])
        seconds[known] = (columns["utc"][known] - launch.utc) / np.timedelta64(1000, "ms")
    return seconds


def _launch(timeline, heights, phases, fixes):
    if phases.no_flight:
        return Moment("launch", reason=phases.no_flight, place_reason=phases.no_flight)
    combined = heights.combined
    ground_m = _median_height(combined.between(phases.climb_s - GROUND_S, phases.climb_s + 10.0))
    up_s = _first_at(combined.between(phases.climb_s, phases.top_s), ground_m + OFF_THE_GROUND_M)
    if up_s is None:
        up_s = phases.top_s
    series = _steadier(heights, up_s - GROUND_S, up_s, up_s + STRAIGHT_S)
    window = series.between(up_s - GROUND_S, up_s + STRAIGHT_S)
    before = len(series.between(up_s - GROUND_S, up_s))
    if before < 5 or len(window) - before < 5:
        reason = _too_few(combined, phases.climb_s - STRAIGHT_S, up_s + STRAIGHT_S)
        return Moment("launch", reason=reason, place_reason=reason)
    bend = fit_bend(window.time_s, window["height_m"], float(window.time_s[0]), up_s)
    if not _level(window.between(-np.inf, bend.time_s), bend.rate_m_s):
        first_m = combined["height_m"][0]
        reason = f"the data hold too little of the ground before the climb; they begin at {first_m:.0f} m"
        return Moment("launch", reason=reason, place_reason=reason)
    moment = moment_of("launch", timeline, window, bend, "bend between ground and climb, least squares")
    moment = _across_gap(moment, window, bend.time_s)
    on_ground = fixes.between(bend.time_s - GROUND_S, bend.time_s + 5.0)
    return _on_ground(moment, heights, on_ground, bend.time_s - GROUND_S, bend.time_s)


def _landing(timeline, heights, phases, fixes):
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
    window = series.between(down_s - STRAIGHT_S, down_s + GROUND_S)
    falling = len(series.between(down_s - STRAIGHT_S, down_s))
    moment, ground_s = Moment("landing"), rest_s
    if falling < 5 or len(window) - falling < 5:
        moment = replace(moment, reason=_too_few(combined, down_s - STRAIGHT_S, rest_s + STRAIGHT_S))
    else:
        mirrored = window.backwards()
        bend = fit_bend(mirrored.time_s, mirrored["height_m"], float(mirrored.time_s[0]), -down_s)
        bend = replace(bend, time_s=-bend.time_s, rate_m_s=-bend.rate_m_s)
        moment = moment_of("landing", timeline, window, bend, "bend between fall and ground, least squares")
        moment = _across_gap(moment, window, bend.time_s)
        ground_s = bend.time_s + 5.0 if moment.time_s is not None else rest_s
    resting = fixes.between(ground_s, ground_s + REST_WINDOW_S)
    return _on_ground(moment, heights, resting, ground_s, ground_s + GROUND_S)


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


def _on_ground(moment, heights, fixes, start_s, end_s):
    """Add the place and the height of a moment on the ground."""
    ground = heights.gnss.between(start_s, end_s)
    source = heights.gnss.source
    if len(ground) < 3:
        ground, source = heights.barometric.between(start_s, end_s), heights.barometric.source
    if len(ground) >= 3:
        moment = replace(moment, height_m=_median_height(ground), height_source=f"{source}, median")
    place = place_at_rest(fixes)
    if place is None:
        reason = "the payload did not lie still" if len(fixes) >= 3 else "no fixes on the ground there"
        return replace(moment, place_reason=reason)
    return replace(
        moment, latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg,
        place_source=f"fix.latitude_deg, fix.longitude_deg, median of {place.samples}",
    )  # fmt: skip


def _median_height(series):
    return float(np.median(series["height_m"])) if len(series) else 0.0
