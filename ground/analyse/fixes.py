"""The fixes that can be true: of a receiver's words, those that agree with each other.

Two wrong characters can cancel in the check sum of NMEA 0183, an exclusive or, so that a digit of a place,
a height or a speed is wrong. What is wrong in one field says nothing against the others.
"""

import numpy as np

from ground.analyse.neighbours import fits_neighbours
from ground.analyse.series import covered, inliers, is_numbers, running_median

PLACE = ("latitude_deg", "longitude_deg")
EARTH_M = 6_371_000.0
# Smaller deviations from the neighbours are left: receivers scatter by some of them.
PLACE_M, HEIGHT_M, SPEED_M_S, CLIMB_M_S = 20.0, 12.0, 3.0, 4.0
FAR_M, NEAR_M = 5000.0, 1000.0  # outliers of places before the finer search
FASTEST_M_S = 150.0  # no balloon drifts, and no payload falls, faster (common practice, no source)
PRESSURE_GAP_S = 5.0
HALF_S, COVER_S = 5.0, 15.0  # displacement speed: half the time between places, and their greatest distance
SPEED_SHARE = 0.3  # a speed over ground may differ so much from the displacement's, in gusts
STANDING_SAMPLES = 5  # so many fixes alike to the last digit, though moving, are one that was said again
MOVING_M_S = 2.0


def clean_fixes(timeline, names):
    """The fixes in which all of these columns are known, and that agree with their neighbours in them.

    timeline: Timeline. names: columns of the table "fix". Returns a Series. A fix without a word about its
    quality counts if it has a place, because a receiver leaves the place out when it has none.
    """
    return timeline.once(("fixes", *names), lambda: _clean(timeline, names))


def _clean(timeline, names):
    table = timeline.tables.get("fix")
    fixes = timeline.series("fix", tuple(names))
    if table is None or len(fixes) == 0:
        return fixes
    number = ("quality", *PLACE, "height_m", "ground_speed_m_s", "vertical_speed_m_s")
    every = {name: _beside(table, fixes, name) for name in number}
    quality, placed = every["quality"], np.isfinite(every[PLACE[0]])
    said = ~_said_again(every)
    if is_numbers(table.columns.get("quality")):
        said &= (quality > 0) | (np.isnan(quality) & placed)
    fixes, every = fixes.where(said), {name: values[said] for name, values in every.items()}
    time_s, kept = fixes.time_s, np.ones(len(fixes), bool)
    place, height_m, speed_m_s, climb_m_s = [every[name] for name in PLACE], *list(every.values())[3:]
    if set(PLACE) & set(names):
        kept &= _where_known(_places_agree, time_s, *place)
    if "height_m" in names:
        kept &= _where_known(_heights_agree, time_s, height_m) & _with_pressure(timeline, time_s, height_m)
    if {"ground_speed_m_s", "course_deg"} & set(names):
        kept &= _where_known(_agree_within(SPEED_M_S), time_s, speed_m_s)
        kept &= _with_displacement(time_s, speed_m_s, *place)
    if "vertical_speed_m_s" in names:
        kept &= _where_known(_agree_within(CLIMB_M_S), time_s, climb_m_s)
    return fixes.where(kept)


def drift_m_s(fixes, time_s, half_s=15.0, gap_s=30.0):
    """Give the speed over ground at times, from how far the places around them lie apart.

    fixes: Series with latitude_deg and longitude_deg, cleaned. time_s: array (n,). half_s: half the time
    between the two places. Returns a float array (n,), NaN where the fixes around are more than gap_s apart.
    """
    speed = np.full(len(time_s), np.nan)
    known = covered(fixes.time_s, time_s - half_s, gap_s) & covered(fixes.time_s, time_s + half_s, gap_s)
    if len(fixes) < 3 or not np.any(known):
        return speed
    parts = np.stack([running_median(p, 5) for p in earth_m(fixes["latitude_deg"], fixes["longitude_deg"]).T])
    before, after = (
        np.array([np.interp(time_s[known] + side, fixes.time_s, part) for part in parts])
        for side in (-half_s, half_s)
    )
    speed[known] = np.linalg.norm(after - before, axis=0) / (2 * half_s)
    return speed


def earth_m(latitude_deg, longitude_deg):
    """Give places as points (n, 3) in metres on a sphere: without a jump at 180 degrees or at a pole."""
    north, east = np.radians(latitude_deg), np.radians(longitude_deg)
    return EARTH_M * np.stack(
        [np.cos(north) * np.cos(east), np.cos(north) * np.sin(east), np.sin(north)], axis=-1
    )


def _beside(table, fixes, name):
    """Another column of the same records; NaN where it is missing or no number."""
    if not is_numbers(table.columns.get(name)):
        return np.full(len(fixes), np.nan)

    def key(boot, tick_ms):
        return np.asarray(boot, np.int64) << 44 | np.asarray(tick_ms, np.int64)

    keys = key(table.columns["boot"], table.columns["tick_ms"])
    order = np.argsort(keys, kind="stable")
    place = np.searchsorted(keys[order], key(fixes.boot, fixes.tick_ms))
    return np.asarray(table.columns[name], float)[order[np.minimum(place, len(order) - 1)]]


def _said_again(every):
    """True where a receiver that hangs says its last fix again: alike to the last digit, though moving."""
    alike = every["ground_speed_m_s"] > MOVING_M_S
    for name in (*PLACE, "height_m"):
        alike &= np.concatenate([[False], np.diff(every[name]) == 0.0])
    index = np.arange(len(alike))
    begin = np.maximum.accumulate(np.where(alike, 0, index))
    return alike & (np.bincount(begin, minlength=len(alike))[begin] >= STANDING_SAMPLES)


def _where_known(agree, time_s, *parts):
    """Judge the samples in which all parts are known; the others stay."""
    known = np.isfinite(np.array(parts)).all(axis=0)
    kept = np.ones(len(time_s), bool)
    kept[known] = agree(time_s[known], *(part[known] for part in parts))
    return kept


def _places_agree(time_s, latitude_deg, longitude_deg):
    possible = (np.abs(latitude_deg) <= 90.0) & (np.abs(longitude_deg) <= 180.0)
    metres = earth_m(latitude_deg, longitude_deg)
    kept = np.flatnonzero(possible)
    for axis in range(3):
        kept = kept[inliers(metres[kept, axis], FAR_M, NEAR_M)]
    return _agree(time_s, metres, PLACE_M, kept)


def _heights_agree(time_s, height_m):
    return _agree(time_s, height_m[:, None], HEIGHT_M, np.arange(len(time_s)))


def _agree(time_s, metres, least, kept):
    kept = kept[~_leaps(time_s[kept], metres[kept])]
    kept = kept[fits_neighbours(time_s[kept], metres[kept], least)]
    mask = np.zeros(len(time_s), bool)
    mask[kept] = True
    return mask


def _leaps(time_s, metres):
    """True for a sample that could have been reached neither from the last nor left for the next."""
    if len(time_s) < 3:
        return np.zeros(len(time_s), bool)
    far = np.linalg.norm(np.diff(metres, axis=0), axis=1) > 30.0 + FASTEST_M_S * np.diff(time_s)
    return np.concatenate([[False], far]) & np.concatenate([far, [False]])


def _agree_within(least):
    return lambda time_s, values: fits_neighbours(time_s, values, least)


def _with_pressure(timeline, time_s, height_m):
    """Judge heights by how far they lie from those of the standard atmosphere, which drifts slowly.
    Where fixes are rare this sees more than a comparison with other fixes.
    """
    pressure = timeline.series("pressure", ("pressure_height_m",))
    pressure = pressure.where(inliers(pressure["pressure_height_m"], 400.0, 60.0))
    kept = np.ones(len(time_s), bool)
    known = np.isfinite(height_m) & covered(pressure.time_s, time_s, PRESSURE_GAP_S)
    if known.any():
        beside_m = np.interp(time_s[known], pressure.time_s, running_median(pressure["pressure_height_m"], 5))
        kept[known] = fits_neighbours(time_s[known], height_m[known] - beside_m, HEIGHT_M)
    return kept


def _with_displacement(time_s, speed_m_s, latitude_deg, longitude_deg):
    """Judge speeds over ground by how far the places a few seconds before and after lie apart."""
    placed = np.isfinite(latitude_deg) & np.isfinite(longitude_deg)
    placed &= _where_known(_places_agree, time_s, latitude_deg, longitude_deg)
    from_s, points = time_s[placed], earth_m(latitude_deg[placed], longitude_deg[placed])
    kept = np.ones(len(time_s), bool)
    ends = covered(from_s, time_s - HALF_S, COVER_S) & covered(from_s, time_s + HALF_S, COVER_S)
    known = ends & np.isfinite(speed_m_s)
    if known.sum() < 10:
        return kept
    moved = [
        np.interp(time_s[known] + HALF_S, from_s, part) - np.interp(time_s[known] - HALF_S, from_s, part)
        for part in points.T
    ]
    shown_m_s = np.linalg.norm(moved, axis=0) / (2 * HALF_S)
    difference = np.abs(speed_m_s[known] - shown_m_s)
    usual = 6.0 * 1.4826 * running_median(difference, 301)
    kept[known] = difference <= np.maximum(np.maximum(SPEED_M_S + 1.0, SPEED_SHARE * shown_m_s), usual)
    return kept
