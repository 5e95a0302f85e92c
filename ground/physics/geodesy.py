"""Distances, directions and small moves on the WGS 84 ellipsoid.

Geodesics are pyproj's (C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87, 2013).
"""

import numpy as np
from pyproj import Geod

_GEOD = Geod(ellps="WGS84")


def distance_m(latitude_deg, longitude_deg, to_latitude_deg, to_longitude_deg):
    """Give the length of the geodesic between points, on the ellipsoid (height does not count).

    Degrees, scalars or arrays that broadcast. Returns m, float or array.
    """
    return _inverse(latitude_deg, longitude_deg, to_latitude_deg, to_longitude_deg)[2]


def azimuth_deg(latitude_deg, longitude_deg, to_latitude_deg, to_longitude_deg):
    """Give the direction in which the geodesic from the first point to the second sets out.

    Degrees, scalars or arrays that broadcast. Returns degrees clockwise from true north, 0 to 360;
    between coinciding points the answer has no meaning.
    """
    return _inverse(latitude_deg, longitude_deg, to_latitude_deg, to_longitude_deg)[0] % 360.0


def _inverse(latitude_deg, longitude_deg, to_latitude_deg, to_longitude_deg):
    # pyproj wants plain arrays of one shape; floats come back as floats.
    ends = np.broadcast_arrays(longitude_deg, latitude_deg, to_longitude_deg, to_latitude_deg)
    return tuple(np.asarray(part)[()] for part in _GEOD.inv(*(np.array(end, float) for end in ends)))


def move(latitude_deg, longitude_deg, east_m, north_m):
    """Move points by metres east and north.

    Degrees and metres, scalars or arrays that broadcast. The move follows the geodesic that sets out in the
    direction of (east_m, north_m) and is as long as that vector.
    Returns (latitude_deg, longitude_deg), longitude -180 to 180.
    """
    direction_deg = np.degrees(np.arctan2(east_m, north_m))
    parts = np.broadcast_arrays(longitude_deg, latitude_deg, direction_deg, np.hypot(east_m, north_m))
    longitude, latitude, _ = _GEOD.fwd(*(np.array(part, float) for part in parts))
    return np.asarray(latitude)[()], np.asarray(longitude)[()]


def curvature_radii_m(latitude_deg):
    """Give the ellipsoid's radii of curvature: metres per radian of latitude, and across.

    latitude_deg: scalar or array. Returns (meridian_m, prime_vertical_m); a radian of longitude
    at height h is (prime_vertical_m + h) times the cosine of the latitude.
    Source: e.g. Torge and Mueller, Geodesy, 4th ed., section 4.1 (from memory).
    """
    root = np.sqrt(1.0 - _GEOD.es * np.sin(np.radians(latitude_deg)) ** 2)
    return _GEOD.a * (1.0 - _GEOD.es) / root**3, _GEOD.a / root
