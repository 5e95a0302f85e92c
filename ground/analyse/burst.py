"""The burst: the end of the climb in a fall."""

from dataclasses import replace

import numpy as np

from ground.analyse.breakpoints import fit_burst
from ground.analyse.moment import FIX_GAP_S, Moment, moment_of, widest_gap
from ground.analyse.phases import LEAST_RATE_M_S
from ground.analyse.places import place_at
from ground.physics.atmosphere import standard_density_kg_m3

# A longer climb would not be straight, and in a longer fall the air grows too much denser.
CLIMB_S, FALL_S = 40.0, 10.0
CLIMB_SAMPLES, FALL_SAMPLES = 8, 3  # but no fewer samples than these
TOP_SEARCH_S = 120.0
LONGEST_GAP_S = 30.0
LONGEST_GAP_SAMPLES = 3
CLOSE_S = 3.0  # samples further apart than this around the burst add to the uncertainty
LEAST_FALL_M_S = 2.0
# A slower fall, as it would be in the air at sea level, is no payload under a parachute but a balloon that leaks
# (common practice, no source).
LEAST_SEA_LEVEL_M_S = 1.0
FALL_SEEN_S = 60.0
SCATTER_M_S = 20.0  # so many metres of scatter make the time of the burst uncertain by a second
LEAST_DROP_M, LEAST_DROP_SCATTERS = 10.0, 4.0  # less of a fall can be scatter
METHOD = "end of a straight climb in a fall with square drag, least squares"


def find_burst(timeline, heights, phases, fixes) -> Moment:
    """Find the burst.

    timeline: Timeline; heights, phases: Heights and Phases on it; fixes: Series of position_fixes.
    """
    if phases.no_flight:
        return Moment("burst", reason=phases.no_flight, place_reason=phases.no_flight)
    top_s = _top_time(heights.combined, phases.top_s)
    reason = _no_fall(heights.combined, top_s)
    if reason:
        return Moment("burst", reason=reason, place_reason=reason)
    tries = [_burst_in(series, timeline, fixes, top_s) for series in all_around(heights, top_s)]
    return next((moment for moment in tries if moment.time_s is not None), tries[0])


def _burst_in(series, timeline, fixes, top_s):
    """The burst by these heights."""
    top_s = _top_time(series, top_s)
    nearby = series.between(top_s - TOP_SEARCH_S, top_s + TOP_SEARCH_S)
    spacing_s = float(np.median(np.diff(nearby.time_s))) if len(nearby) > 1 else 0.0
    before_s = max(CLIMB_S, (CLIMB_SAMPLES + 1) * spacing_s)
    after_s = max(FALL_S, (FALL_SAMPLES + 1) * spacing_s)
    shortest_gap_s = max(FIX_GAP_S, 2 * spacing_s)
    gap_s, gap_from_s = _gap_around(series, top_s, after_s)
    gap_to_s = gap_from_s + gap_s
    first_s, last_s = min(top_s, gap_from_s), max(top_s, gap_to_s)
    window = series.between(first_s - before_s, last_s + after_s)
    if gap_s > max(LONGEST_GAP_S, LONGEST_GAP_SAMPLES * spacing_s):
        # Too far to see across: the burst is on this side, if there are enough samples for it.
        this_side = (-np.inf, gap_from_s) if gap_from_s >= top_s else (gap_to_s, np.inf)
        window = window.between(*this_side)
    elif gap_s <= shortest_gap_s:
        gap_from_s = gap_to_s = top_s
    hidden = _hidden(timeline, gap_from_s, gap_to_s)
    if len(window) < CLIMB_SAMPLES + FALL_SAMPLES:
        return hidden
    earliest_s = max(min(top_s - after_s, gap_from_s), float(window.time_s[0]))
    latest_s = min(max(top_s + after_s, gap_to_s), float(window.time_s[-1]))
    bend = fit_burst(window.time_s, window["height_m"], earliest_s, latest_s)
    falling = int((window.time_s > bend.time_s).sum())
    if falling < FALL_SAMPLES or len(window) - falling < CLIMB_SAMPLES or bend.rate_m_s < LEAST_RATE_M_S:
        return hidden
    fallen_m = bend.height_m - float(window["height_m"][-1])
    if fallen_m < max(LEAST_DROP_M, LEAST_DROP_SCATTERS * bend.scatter_m):
        return hidden
    moment = moment_of("burst", timeline, window, bend, METHOD)
    # Samples that scatter do so in common for some time, which the fit does not see.
    moment = replace(moment, uncertainty_s=max(moment.uncertainty_s, bend.scatter_m / SCATTER_M_S))
    unseen_s, _ = _gap_around(series, bend.time_s, 1.0)
    if unseen_s > CLOSE_S:
        moment = replace(moment, uncertainty_s=max(moment.uncertainty_s, unseen_s / 4))
    return _with_place(moment, fixes)


def _gap_around(series, top_s, reach_s):
    """(length, start) of the longest gap within reach of the top, as far as the samples go."""
    first_s = max(top_s - reach_s, float(series.time_s[0]))
    last_s = min(top_s + reach_s, float(series.time_s[-1]))
    return widest_gap(series, first_s, last_s)


def _hidden(timeline, start_s, end_s):
    if start_s == end_s:
        reason = "there are too few heights around the top to fit it"
    else:
        span = f"{_clock_text(timeline, start_s)} to {_clock_text(timeline, end_s)}"
        reason = f"it lies in a gap of the heights, from {span}"
    return Moment("burst", reason=reason, place_reason=reason, in_gap=True)


def all_around(heights, top_s):
    """Give the heights to time the beginning of a fall by, best first: fixes and pressure as far as they reach
    without a gap across the top, else both together.
    """
    alone = [heights.gnss, heights.barometric]
    reach = [s for s in alone if widest_gap(s, top_s - FALL_S, top_s + FALL_S)[0] <= FIX_GAP_S]
    return reach or [heights.combined]


def _top_time(series, near_s):
    around = series.between(near_s - TOP_SEARCH_S, near_s + TOP_SEARCH_S)
    if len(around) == 0:
        return near_s
    return float(around.time_s[int(np.argmax(around["height_m"]))])


def _no_fall(combined, top_s):
    """Why the greatest height is not a burst, None if it is."""
    last_s, last_m = float(combined.time_s[-1]), float(combined["height_m"][-1])
    after = combined.between(top_s, np.inf)
    within = int(np.searchsorted(after.time_s, top_s + FALL_SEEN_S, side="right"))
    if last_s - top_s < 5.0 or (within < 3 and last_s - top_s < FALL_SEEN_S):
        return f"the data end at {last_m:.0f} m, before a burst"
    if len(after) > 1 and after.time_s[1] - top_s > LONGEST_GAP_S:
        return None  # whether and when it fell is hidden in a gap
    if not falls_fast(combined, top_s):
        return "the climb ended without a fall, which is no burst"
    return None


def falls_fast(combined, start_s):
    """True if the heights of the minute from start_s on show a fall as fast as under a parachute."""
    after = combined.between(start_s, np.inf)
    if len(after) < 2:
        return False
    index = min(int(np.searchsorted(after.time_s, start_s + FALL_SEEN_S, side="right")), len(after) - 1)
    start_m = float(after["height_m"][0])
    thin_air = (standard_density_kg_m3(0.0) / standard_density_kg_m3(min(max(start_m, 0.0), 45_000.0))) ** 0.5
    least_m_s = max(LEAST_FALL_M_S, LEAST_SEA_LEVEL_M_S * float(thin_air))
    seen_s = float(after.time_s[index]) - start_s
    # It takes some seconds to gather speed.
    counted_s = min(FALL_SEEN_S, max(seen_s - 5.0, 0.8 * seen_s))
    return start_m - float(after["height_m"][index]) >= least_m_s * counted_s


def _with_place(moment, fixes):
    place = place_at(fixes, moment.time_s)
    if place is None:
        return replace(moment, place_reason="no fixes within 30 s around it")
    return replace(
        moment, latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg,
        place_source="fix.latitude_deg, fix.longitude_deg, interpolated",
    )  # fmt: skip


def _clock_text(timeline, time_s):
    utc = timeline.utc(time_s)
    return f"{time_s:.0f} s after boot" if utc is None else f"{str(utc)[11:19]} UTC"
