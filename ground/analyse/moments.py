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
    start_s = phases.climb_s
    ground_m = _median_height(combined.between(start_s - GROUND_S, start_s + 10.0))
    flying = combined.between(start_s, phases.top_s)
    flying = flying.where(flying["height_m"] >= ground_m + OFF_THE_GROUND_M)
    up_s = float(flying.time_s[0])
    series = _steadier(heights, up_s - GROUND_S, up_s, up_s + STRAIGHT_S)
    before = series.between(up_s - GROUND_S, up_s)
    window = series.between(up_s - GROUND_S, up_s + STRAIGHT_S)
    if len(before) < 5 or len(window) - len(before) < 5:
        first_m = combined["height_m"][0]
        reason = f"the data hold nothing of the ground before the climb; they begin at {first_m:.0f} m"
        return Moment("launch", reason=reason, place_reason=reason)
    bend = fit_bend(window.time_s, window["height_m"], float(window.time_s[0]), up_s)
    if bend.time_s - window.time_s[0] < 5.0:
        reason = f"the data begin at {combined['height_m'][0]:.0f} m, already in the climb"
        return Moment("launch", reason=reason, place_reason=reason)
    moment = moment_of("launch", timeline, window, bend, "bend between ground and climb, least squares")
    moment = _across_gap(moment, window, bend.time_s)
    on_ground = fixes.between(bend.time_s - 2 * REST_WINDOW_S, bend.time_s + 5.0)
    return _on_ground(moment, heights, on_ground, bend.time_s - GROUND_S, bend.time_s)


def _landing(timeline, heights, phases, fixes):
    if phases.rest_s is None:
        return Moment("landing", reason=phases.no_rest, place_reason=phases.no_rest)
    combined = heights.combined
    rest_s = phases.rest_s
    ground_m = _median_height(combined.between(rest_s + 5.0, rest_s + GROUND_S))
    flying = combined.between(-np.inf, rest_s + STRAIGHT_S)
    flying = flying.where(flying["height_m"] >= ground_m + OFF_THE_GROUND_M)
    down_s = float(flying.time_s[-1])
    series = _steadier(heights, down_s - STRAIGHT_S, down_s, down_s + GROUND_S)
    window = series.between(down_s - STRAIGHT_S, down_s + GROUND_S)
    falling = len(series.between(down_s - STRAIGHT_S, down_s))
    resting = fixes.between(rest_s, rest_s + REST_WINDOW_S)
    if falling < 5 or len(window) - falling < 5:
        reason = "too few heights around the landing to fit it"
        return _on_ground(Moment("landing", reason=reason), heights, resting, rest_s, rest_s + GROUND_S)
    # Seen backwards in time a landing is a launch.
    backwards = fit_bend(-window.time_s[::-1], window["height_m"][::-1], -float(window.time_s[-1]), -down_s)
    bend = replace(backwards, time_s=-backwards.time_s, rate_m_s=-backwards.rate_m_s)
    moment = moment_of("landing", timeline, window, bend, "bend between fall and ground, least squares")
    moment = _across_gap(moment, window, bend.time_s)
    resting = fixes.between(bend.time_s + 5.0, bend.time_s + REST_WINDOW_S)
    return _on_ground(moment, heights, resting, bend.time_s + 5.0, bend.time_s + GROUND_S)


def _steadier(heights, start_s, middle_s, end_s):
    """The series to time a bend near the ground by: pressure if it is there on both sides, as it
    scatters least, else the combined heights.
    """
    for series in (heights.pressure, heights.gnss):
        if min(len(series.between(start_s, middle_s)), len(series.between(middle_s, end_s))) >= 10:
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
        return replace(moment, place_reason="no fixes on the ground there")
    return replace(
        moment, latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg,
        place_source=f"fix.latitude_deg, fix.longitude_deg, median of {place.samples}",
    )  # fmt: skip


def _median_height(series):
    return float(np.median(series["height_m"])) if len(series) else 0.0
