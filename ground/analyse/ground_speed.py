"""The greatest speed over ground, from what the receiver says and from its places."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.series import covered, running_median
from ground.analyse.winds import raised, standing
from ground.physics.geodesy import distance_m

NEIGHBOURS = 2  # the places so many fixes before and after one tell its speed over ground
LONGEST_S = 20.0
# A told speed and that of the places differ by this, and by this share of the speed, in gusts, swings and shear;
# more is an error of one of them (common practice, no source).
DIFFER_M_S, DIFFER_SHARE = 3.0, 0.1
TOLD_M_S, FROM_PLACES_M_S = 0.2, 0.8  # standard uncertainties of the greatest of many (common practice, no source)
BETWEEN_M_S, BETWEEN_S = 0.8, 20.0  # gusts between samples (common practice, no source)


@dataclass(frozen=True)
class GroundSpeed:
    """speed_m_s at time_s, uncertainty_m_s expanded (k = 2); used_s: times of the samples that it is the greatest
    of; told: by the receiver's own speed.
    """

    speed_m_s: float
    time_s: float
    uncertainty_m_s: float
    used_s: np.ndarray
    told: bool
    method: str


def greatest_ground_speed(told_time_s, told_m_s, time_s, latitude_deg, longitude_deg, height_m):
    """Find the greatest speed over ground.

    told_time_s, told_m_s: float arrays (m,), what the receiver says. time_s, latitude_deg, longitude_deg, height_m:
    float arrays (n,), the fixes. All in order of time. Returns a GroundSpeed, or None if there is nothing.
    Method: told speeds that the geodesic between neighbouring fixes confirms, running median of 3; where none is
    told, the speeds between fixes.
    """
    moving = ~standing(latitude_deg, longitude_deg)
    time_s, latitude, longitude, height_m = (
        part[moving] for part in (time_s, latitude_deg, longitude_deg, height_m)
    )
    place_s, place_m_s = _between(time_s, latitude, longitude, height_m)
    if len(told_m_s) and len(place_s):
        expected = np.interp(told_time_s, place_s, place_m_s)
        agrees = np.abs(told_m_s - expected) <= DIFFER_M_S + DIFFER_SHARE * expected
        agrees &= (
            covered(place_s, told_time_s, 2 * LONGEST_S) | (told_time_s < place_s[0]) | (told_time_s > place_s[-1])
        )
        told_time_s, told_m_s = told_time_s[agrees], told_m_s[agrees]
    if len(told_m_s):
        return _greatest(
            told_time_s,
            told_m_s,
            TOLD_M_S,
            True,
            "greatest running median of 3, confirmed by the places of the fixes",
        )
    if len(place_m_s):
        method = "greatest running median of 3 of geodesics between neighbouring fixes over their time"
        return _greatest(place_s, place_m_s, FROM_PLACES_M_S, False, method)
    return None


def _between(time_s, latitude_deg, longitude_deg, height_m):
    """(times, speeds) of fixes by the places before and after them."""
    if len(time_s) < 2 * NEIGHBOURS + 1:
        return np.zeros(0), np.zeros(0)
    first, last = slice(0, -2 * NEIGHBOURS), slice(2 * NEIGHBOURS, None)
    run_s = time_s[last] - time_s[first]
    way_m = distance_m(latitude_deg[first], longitude_deg[first], latitude_deg[last], longitude_deg[last])
    middle = slice(NEIGHBOURS, -NEIGHBOURS)
    known = (run_s > 0) & (run_s <= 2 * NEIGHBOURS * LONGEST_S)
    speed = way_m[known] / run_s[known] * raised(latitude_deg[middle][known], height_m[middle][known])
    return time_s[middle][known], running_median(speed, 5)


def _greatest(time_s, speed_m_s, standard_m_s, told, method):
    smooth = running_median(speed_m_s, 3)
    best = int(np.argmax(smooth))
    # With few samples the peak itself may lie beside them: its own neighbours show how sharp it is.
    sharp = float(speed_m_s[max(best - 1, 0) : best + 2].max() - smooth[best])
    spacing_s = float(np.median(np.diff(time_s))) if len(time_s) > 1 else BETWEEN_S
    between = BETWEEN_M_S * min(1.0, spacing_s / BETWEEN_S)
    spread = float(np.sqrt(4.0 * (standard_m_s**2 + between**2) + sharp**2))
    return GroundSpeed(float(smooth[best]), float(time_s[best]), spread, time_s, told, method)
