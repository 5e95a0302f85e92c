"""Places on the ground and in the air, from fixes."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.fixes import PLACE, clean_fixes
from ground.analyse.series import covered
from ground.physics.geodesy import distance_m

AT_REST_M = 100.0  # fixes of a payload at rest lie no further from their median (common practice, no source)


@dataclass(frozen=True)
class Place:
    latitude_deg: float
    longitude_deg: float
    samples: int


def position_fixes(timeline):
    """The fixes with a position that agrees with their neighbours, as a Series with latitude_deg
    and longitude_deg; the longitudes are continuous, so they can lie beyond 180 degrees.
    """
    fixes = clean_fixes(timeline, PLACE)
    if len(fixes) == 0:
        return fixes
    reference = float(np.median(fixes["longitude_deg"]))
    return fixes.with_value("longitude_deg", reference + _wrap(fixes["longitude_deg"] - reference), fixes.source)


def place_at_rest(fixes):
    """Give the median of fixes of a payload that lies still, without those that lie far from it.

    fixes: Series of position_fixes. Returns a Place; None with fewer than three fixes, or if most of
    them are not near the median.
    """
    kept = fixes
    while len(kept) >= max(3, len(fixes) / 2):
        latitude = float(np.median(kept["latitude_deg"]))
        longitude = float(np.median(kept["longitude_deg"]))
        away_m = distance_m(
            np.full(len(kept), latitude), np.full(len(kept), longitude),
            kept["latitude_deg"], kept["longitude_deg"],
        )  # fmt: skip
        near = away_m <= AT_REST_M
        if near.all():
            return Place(latitude, float(_wrap(longitude)), len(kept))
        kept = kept.where(near)
    return None


def place_at(fixes, time_s, gap_s=30.0):
    """Give the Place at a time, interpolated between the fixes around it; None if they lie further
    apart than gap_s.
    """
    if not covered(fixes.time_s, time_s, gap_s):
        return None
    latitude = np.interp(time_s, fixes.time_s, fixes["latitude_deg"])
    longitude = np.interp(time_s, fixes.time_s, fixes["longitude_deg"])
    return Place(float(latitude), float(_wrap(longitude)), 2)


def _wrap(angle_deg):
    return (angle_deg + 180.0) % 360.0 - 180.0
