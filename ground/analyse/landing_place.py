"""Where a payload came down, and what became of it on the ground."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.fixes import drift_m_s, earth_m
from ground.analyse.height_error import FIX_PLACE_M
from ground.analyse.places import Place, place_at, place_at_rest

MOVES_M_S = 0.7  # over half a minute: more than the scatter of fixes makes
MOVED_M = 30.0  # a shorter way is the wander of a receiver's places
SOON_S = 60.0  # what moves so soon after the landing is dragged by the wind
LEAST_STILL_S = 10.0
HALF_S = 15.0
FIX_LATE_S = 0.15
UNKNOWN_M_S = 10.0  # the drift where the fixes do not give it
DROP_M = 5.0
LONGEST_SEARCH_S = 1e6  # a receiver that jumps by 1024 weeks must not make this endless
WEATHER_M_H = 15.0  # 2 hPa an hour at the ground, as a front passes (common practice, no source)
LAY_STILL, DRAGGED, MOVED = "lay still", "dragged", "moved"


@dataclass(frozen=True)
class AfterLanding:
    """kind: lay still, dragged (moved from the landing on) or moved (first lay still). start_s, end_s: of the
    motion, on the axis; moved_m: from the first to the last place of it, straight; fastest_m_s: of the motion;
    drop_m: how much lower it ended, if it dropped later as from a tree; seen_s: how long fixes tell of it.
    samples: fixes. on_the_way: it still moved when the data ended. None: not known, or does not apply.
    """

    kind: str
    start_s: float | None
    end_s: float | None
    moved_m: float
    fastest_m_s: float | None
    drop_m: float | None
    seen_s: float
    samples: int
    on_the_way: bool = False


def find_after_landing(fixes, heights, landing_s):
    """Say what the fixes tell of the time after landing_s, AfterLanding; None with too few of them."""
    rest = fixes.between(landing_s + 2.0, np.inf)
    if len(rest) < 10 or rest.time_s[-1] - rest.time_s[0] < 2 * HALF_S:
        return None
    seen_s = float(rest.time_s[-1] - rest.time_s[0])
    start_s, end_s = _motion(rest)
    points = earth_m(rest["latitude_deg"], rest["longitude_deg"])
    if start_s is None:
        return AfterLanding(LAY_STILL, None, None, 0.0, None, _drop(heights, landing_s), seen_s, len(rest))
    first = np.median(points[rest.time_s <= max(start_s, rest.time_s[2])], axis=0)
    # What still moves when the data end has got as far as its last fix.
    on_the_way = rest.time_s[-1] - end_s < HALF_S
    last = points[-1] if on_the_way else np.median(points[rest.time_s >= min(end_s, rest.time_s[-3])], axis=0)
    moving = rest.between(start_s, end_s)
    speeds = drift_m_s(rest, moving.time_s, HALF_S)
    fastest = float(np.nanmax(speeds)) if np.isfinite(speeds).any() else None
    kind = DRAGGED if start_s - landing_s < SOON_S else MOVED
    return AfterLanding(
        kind, start_s, end_s, float(np.linalg.norm(last - first)), fastest, None, seen_s, len(rest), on_the_way
    )


def place_of_landing(fixes, landing_s, landing_error_s, still_from_s, until_s):
    """Give (Place, one standard deviation of its distance from the truth in m, a word on how), or None.

    fixes: Series of position_fixes. landing_s: the landing, or a time soon after it; landing_error_s: its standard
    deviation. Fixes from still_from_s to until_s show it on the ground. A payload that lies still gives the median
    of its places; one that is dragged away the place at the moment of the landing.
    """
    rest = fixes.between(still_from_s, until_s)
    start_s, _ = _motion(rest)
    still = rest if start_s is None else rest.between(-np.inf, start_s - HALF_S)
    if len(still) >= 3 and still.time_s[-1] - still.time_s[0] >= LEAST_STILL_S:
        place = place_at_rest(still)
        if place is not None:
            return place, _scatter_m(still, place), "median"
    place = place_at(fixes, landing_s)
    if place is None:
        return None
    error_m = error_of_place_m(fixes, landing_s, landing_error_s)
    return place, error_m, "interpolated at the landing, because it moved on"


def error_of_place_m(fixes, time_s, error_s):
    """Give one standard deviation, m, of a place interpolated at a time that has itself this deviation, s."""
    speed = drift_m_s(fixes, np.array([time_s - HALF_S]), HALF_S / 2)[0]
    # The ticks of fixes are late by some tenths of a second.
    moved_m = (speed if np.isfinite(speed) else UNKNOWN_M_S) * (error_s + FIX_LATE_S)
    return float(np.hypot(2**0.5 * FIX_PLACE_M, moved_m))


def _scatter_m(fixes, place):
    """The receiver's own error, and what the scatter of the places adds, as under leaves."""
    point = earth_m(place.latitude_deg, place.longitude_deg)
    away = np.linalg.norm(earth_m(fixes["latitude_deg"], fixes["longitude_deg"]) - point, axis=1)
    # Neighbouring fixes err alike for about a minute.
    independent = max((fixes.time_s[-1] - fixes.time_s[0]) / 60.0, 1.0)
    return float(np.sqrt(2 * FIX_PLACE_M**2 + np.median(away) ** 2 / independent))


def _motion(rest):
    """(start, end) of the longest motion of more than MOVED_M, (None, None) if there is none."""
    if len(rest) < 5:
        return None, None
    begin = float(rest.time_s[0])
    end = min(float(rest.time_s[-1]), begin + LONGEST_SEARCH_S)
    grid = np.arange(begin, end, 5.0)
    inner = np.clip(grid, begin + HALF_S, max(end - HALF_S, begin + HALF_S))
    moves = np.nan_to_num(drift_m_s(rest, inner, HALF_S)) > MOVES_M_S
    at = np.flatnonzero(moves)
    if len(at) == 0:
        return None, None
    cut = np.flatnonzero(np.diff(at) > 12) + 1  # a rest of a minute ends a motion
    for run in np.split(at, cut):
        start_s, end_s = float(grid[run[0]]), float(grid[run[-1]])
        way = [place_at(rest, t, 120.0) for t in (start_s, end_s)]
        if None not in way and _apart_m(*way) > MOVED_M:
            return start_s, end_s
    return None, None


def _apart_m(one: Place, other: Place):
    points = [earth_m(place.latitude_deg, place.longitude_deg) for place in (one, other)]
    return float(np.linalg.norm(points[1] - points[0]))


def _drop(heights, landing_s):
    """How far the payload dropped after it had come to rest, None if it did not by more than scatter."""
    series = heights.pressure if len(heights.pressure) else heights.gnss
    first = series.between(landing_s + 5.0, landing_s + 65.0)["height_m"]
    last = series.between(max(float(series.time_s[-1]) - 60.0, landing_s + 65.0), np.inf)["height_m"]
    if len(first) < 5 or len(last) < 5:
        return None
    drop = float(np.median(first) - np.median(last))
    scatter = 1.4826 * float(np.median(np.abs(first - np.median(first))))
    # The weather moves the heights by air pressure too.
    hours = (float(series.time_s[-1]) - landing_s) / 3600.0 if len(heights.pressure) else 0.0
    return drop if drop > max(DROP_M, 3 * scatter) + WEATHER_M_H * hours else None
