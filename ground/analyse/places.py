"""Places on the ground and in the air, from fixes."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.heights import covered, valid_fixes
from ground.physics.geodesy import distance_m

AT_REST_M = 100.0  # fixes of a payload at rest lie no further from their median (common practice, no source)


@dataclass(frozen=True)
class Place:
    latitude_deg: float
    longitude_deg: float
    scatter_m: float | None  # median distance of the fixes from the place; None if interpolated
    samples: int


def position_fixes(timeline):
    """The fixes with a position, as a Series with latitude_deg and longitude_deg."""
    fixes = valid_fixes(timeline, ("latitude_deg", "longitude_deg"))
    return fixes.where((np.abs(fixes["latitude_deg"]) <= 90) & (np.abs(fixes["longitude_deg"]) <= 180))


def place_at_rest(fixes):
    """Give the median of fixes of a payload that lies still, without those that lie far from it.

    fixes: Series of position_fixes. Returns a Place, or None with fewer than three near fixes.
    """
    while len(fixes) >= 3:
        latitude = float(np.median(fixes["latitude_deg"]))
        longitude = _median_longitude(fixes["longitude_deg"])
        away_m = distance_m(
            np.full(len(fixes), latitude), np.full(len(fixes), longitude),
            fixes["latitude_deg"], fixes["longitude_deg"],
        )  # fmt: skip
        near = away_m <= AT_REST_M
        if near.all():
            return Place(latitude, longitude, float(np.median(away_m)), len(fixes))
        fixes = fixes.where(near)
    return None


def place_at(fixes, time_s, gap_s=30.0):
    """Give the Place at a time, interpolated between the fixes around it; None if they lie further
    apart than gap_s.
    """
    if not covered(fixes.time_s, time_s, gap_s):
        return None
    first = fixes["longitude_deg"][0]
    longitude = np.interp(time_s, fixes.time_s, _near(fixes["longitude_deg"], first))
    latitude = np.interp(time_s, fixes.time_s, fixes["latitude_deg"])
    return Place(float(latitude), float(_wrap(longitude)), None, 2)


def _near(longitude_deg, reference_deg):
    """The same meridians, written within half a turn of the reference."""
    return reference_deg + _wrap(longitude_deg - reference_deg)


def _wrap(angle_deg):
    return (angle_deg + 180.0) % 360.0 - 180.0


def _median_longitude(longitude_deg):
    # Across the 180th meridian a plain median would lie on the other side of the world.
    return float(_wrap(np.median(_near(longitude_deg, longitude_deg[0]))))
