"""Geodesics against published lines and against the library geographiclib."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from ground.physics import geodesy

LATITUDES = st.floats(-85.0, 85.0)
LONGITUDES = st.floats(-180.0, 180.0)


def sexagesimal(degrees, minutes, seconds):
    return degrees + minutes / 60.0 + seconds / 3600.0


# Geocentric Datum of Australia technical manual (ICSM), chapter 4, Vincenty example:
# 54972.271 m, azimuth 306 52 05.37. It is on GRS 80; WGS 84 gives the same to 0.1 mm.
FLINDERS_PEAK = (-sexagesimal(37, 57, 3.72030), sexagesimal(144, 25, 29.52440))
BUNINYONG = (-sexagesimal(37, 39, 10.15610), sexagesimal(143, 55, 35.38390))

LINES = [  # from, to, metres, half unit
    ((40.6, -73.8), (51.6, -0.5), 5551759.400, 5e-4),  # GeographicLib documentation (from memory)
    ((0.0, 0.0), (0.0, 1.0), 111319.491, 5e-4),  # definition: a pi / 180, a = 6378137 m
    ((0.0, 0.0), (1.0, 0.0), 110574.389, 5e-4),  # handbook: a degree of latitude at the equator
    ((10.0, 179.9), (10.0, -179.9), 21927.872, 5e-4),  # across the date line; geographiclib 2.1
]


def test_flinders_peak_to_buninyong_is_as_published():
    assert geodesy.distance_m(*FLINDERS_PEAK, *BUNINYONG) == pytest.approx(54972.271, abs=5e-4)
    azimuth = geodesy.azimuth_deg(*FLINDERS_PEAK, *BUNINYONG)
    assert azimuth == pytest.approx(sexagesimal(306, 52, 5.37), abs=0.005 / 3600)


@pytest.mark.parametrize("start, end, length_m, half_unit_m", LINES)
def test_known_lines_have_their_length(start, end, length_m, half_unit_m):
    assert geodesy.distance_m(*start, *end) == pytest.approx(length_m, abs=half_unit_m)


@given(LATITUDES, LONGITUDES, LATITUDES, LONGITUDES)
def test_distances_agree_with_geographiclib(latitude, longitude, to_latitude, to_longitude):
    reference = Geodesic.WGS84.Inverse(latitude, longitude, to_latitude, to_longitude)
    distance = geodesy.distance_m(latitude, longitude, to_latitude, to_longitude)
    assert distance == pytest.approx(reference["s12"], abs=1e-4)


@given(LATITUDES, LONGITUDES, st.floats(-2e5, 2e5), st.floats(-2e5, 2e5))
def test_moves_agree_with_geographiclib(latitude, longitude, east_m, north_m):
    azimuth = float(np.degrees(np.arctan2(east_m, north_m)))
    reference = Geodesic.WGS84.Direct(latitude, longitude, azimuth, float(np.hypot(east_m, north_m)))
    moved = geodesy.move(latitude, longitude, east_m, north_m)
    assert geodesy.distance_m(*moved, reference["lat2"], reference["lon2"]) < 1e-3
    assert -180.0 <= moved[1] <= 180.0


@given(LATITUDES)
def test_radii_of_curvature_give_the_length_of_short_steps(latitude):
    meridian_m, prime_vertical_m = geodesy.curvature_radii_m(latitude)
    step_deg = 1e-3
    north = Geodesic.WGS84.Inverse(latitude - step_deg / 2, 0.0, latitude + step_deg / 2, 0.0)["s12"]
    east = Geodesic.WGS84.Inverse(latitude, 0.0, latitude, step_deg)["s12"]
    assert meridian_m * np.radians(step_deg) == pytest.approx(north, rel=1e-8)
    assert prime_vertical_m * np.cos(np.radians(latitude)) * np.radians(step_deg) == pytest.approx(
        east, rel=1e-8
    )


def test_azimuths_count_clockwise_from_north():
    azimuths = geodesy.azimuth_deg(0.0, 0.0, np.array([1.0, 0.0, -1.0, 0.0]), np.array([0.0, 1.0, 0.0, -1.0]))
    np.testing.assert_allclose(azimuths, [0.0, 90.0, 180.0, 270.0], atol=1e-9)


def test_lists_and_arrays_broadcast():
    distances = geodesy.distance_m(47.0, 19.0, [47.0, 48.0], [20.0, 19.0])
    assert distances.shape == (2,)
    latitudes, longitudes = geodesy.move([47.0, 47.0], 19.0, 0.0, [0.0, 1000.0])
    assert latitudes[0] == pytest.approx(47.0) and latitudes[1] > 47.008
    assert longitudes == pytest.approx([19.0, 19.0])
