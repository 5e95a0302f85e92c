"""Winds by layer against real soundings that reported positions and winds, and against MetPy.

Data: tests/data/soundings (ARM user facility, Lamont and Darwin; Czech Hydrometeorological Institute, Praha; see
SOURCES.md beside them). MetPy is the reference for conventions: wind_components, wind_direction, bulk_shear.
"""

import csv
from pathlib import Path

import metpy.calc
import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st
from metpy.units import units

from ground.analyse.ground_speed import greatest_ground_speed
from ground.analyse.jet import FOUND, NONE, UNKNOWN, find_jet
from ground.analyse.wind_profile import choice_spread, wind_shear
from ground.analyse.winds import WindLayers, direction_from_deg, wind_layers

ROOT = Path(__file__).parents[3]
LAMONT, DARWIN = "lamont-oklahoma-2019-01-01-0532z", "darwin-2006-01-19-2316z"
PRAHA = ROOT / "onboard" / "simulator" / "soundings" / "praha-libus-2007-11-20-1115z.csv"
LAYER_M = 500.0


def columns(path, *names):
    with open(path, encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return [np.array([float(row[name] or "nan") for row in rows]) for name in names]


def sounding(name):
    path = name if isinstance(name, Path) else ROOT / "tests" / "data" / "soundings" / f"{name}.csv"
    return columns(
        path, "time_s", "latitude_deg", "longitude_deg", "geopotential_height_m", "wind_speed_m_s", "wind_from_deg"
    )


def components(speed, from_deg):
    east, north = metpy.calc.wind_components(speed * units("m/s"), from_deg * units.deg)
    return east.magnitude, north.magnitude


def reported_layers(name):
    """Means of the reported winds of each layer, as WindLayers."""
    _, _, _, height_m, speed, from_deg = sounding(name)
    east, north = components(speed, from_deg)
    number = np.floor(height_m / LAYER_M)
    bottoms = np.unique(number) * LAYER_M
    means = [
        [np.nanmean(part[number * LAYER_M == bottom]) for bottom in bottoms] for part in (height_m, east, north)
    ]
    middle, east, north = np.array(means)
    counts = np.ones(len(bottoms))
    return WindLayers(bottoms, bottoms + LAYER_M, middle, counts, east, north, 0.2 * counts, counts, counts, 0.0)


@pytest.fixture(scope="module", params=[LAMONT, DARWIN])
def pair(request):
    time_s, latitude, longitude, height_m, *_ = sounding(request.param)
    return wind_layers(time_s, latitude, longitude, height_m), reported_layers(request.param)


def test_the_drift_gives_the_winds_that_the_sounding_reports(pair):
    found, reported = pair
    assert set(found.bottom_m) == set(reported.bottom_m)
    off = np.hypot(found.east_m_s - reported.east_m_s, found.north_m_s - reported.north_m_s)
    # Over 60 s the geodesic displacement and the reported winds differ by 0.08 m/s (median; 95 % below 0.17).
    assert np.median(off) < 0.15 and np.quantile(off, 0.95) < 0.4
    away = np.abs([found.east_m_s - reported.east_m_s, found.north_m_s - reported.north_m_s])
    assert (away <= found.uncertainty_m_s).mean() > 0.95
    assert np.median(found.uncertainty_m_s) < 1.0


def test_strongest_wind_of_lamont_is_that_of_the_sounding_and_is_a_jet():
    time_s, latitude, longitude, height_m, speed, _ = sounding(LAMONT)
    found = wind_layers(time_s, latitude, longitude, height_m)
    best = int(np.argmax(found.speed_m_s))
    assert found.speed_m_s[best] == pytest.approx(speed.max(), abs=1.0)  # 58.2 m/s at 10 760 m
    assert abs(found.middle_m[best] - 10_760) < LAYER_M
    jet = find_jet(found.middle_m, found.speed_m_s, found.uncertainty_m_s, 11_404.0)  # its tropopause
    assert (jet.state, jet.index) == (FOUND, best)


def test_strongest_wind_in_the_stratosphere_is_no_jet():
    # Praha: 51.8 m/s at 31.9 km, winter westerlies of the stratosphere, tropopause 12 207 m; in its layers no wind
    # near the tropopause reaches 30 m/s. The WMO's definition of 1958: at least 30 m/s along the axis.
    praha = reported_layers(PRAHA)
    assert praha.middle_m[np.argmax(praha.speed_m_s)] > 31_000
    for tropopause_m in (None, 12_207.0):
        assert find_jet(praha.middle_m, praha.speed_m_s, praha.uncertainty_m_s, tropopause_m).state == NONE
    # Darwin: 37.5 m/s at 24.1 km; tropopause 17 536 m.
    time_s, latitude, longitude, height_m, *_ = sounding(DARWIN)
    darwin = wind_layers(time_s, latitude, longitude, height_m)
    assert abs(darwin.middle_m[np.argmax(darwin.speed_m_s)] - 24_100) < LAYER_M
    jet = find_jet(darwin.middle_m, darwin.speed_m_s, darwin.uncertainty_m_s, 17_536.0)
    assert jet.state == NONE or darwin.middle_m[jet.index] < 20_000


def test_a_jet_that_the_flight_did_not_pass_is_unknown():
    found = reported_layers(LAMONT)
    low = found.where(found.top_m <= 11_000.0)  # the wind still grows
    assert find_jet(low.middle_m, low.speed_m_s, low.uncertainty_m_s).state == UNKNOWN
    lower = found.where(found.top_m <= 4_000.0)
    assert find_jet(lower.middle_m, lower.speed_m_s, lower.uncertainty_m_s).state == UNKNOWN


def test_directions_are_those_of_metpy():
    east, north = np.array([10.0, -3.0, 0.0, 5.0, -7.0]), np.array([0.0, 4.0, -6.0, 5.0, -7.0])
    reference = metpy.calc.wind_direction(east * units("m/s"), north * units("m/s")).to("deg").magnitude
    np.testing.assert_allclose(direction_from_deg(east, north), reference % 360.0, atol=1e-9)


def test_shear_is_the_bulk_shear_of_metpy():
    path = ROOT / "tests" / "data" / "soundings" / f"{LAMONT}.csv"
    pressure, height_m = columns(path, "pressure_hPa", "geopotential_height_m")
    layers = reported_layers(LAMONT)
    shear = wind_shear(layers)
    # The winds that MetPy looks at: the layers' means as a profile at the layers' middles.
    east, north = (
        np.interp(height_m, layers.middle_m, part) * units("m/s") for part in (layers.east_m_s, layers.north_m_s)
    )
    for index in range(0, len(shear.middle_m), 6):
        low, depth = shear.from_m[index], shear.to_m[index] - shear.from_m[index]
        u, v = metpy.calc.bulk_shear(
            pressure * units.hPa,
            east,
            north,
            height=height_m * units.m,
            bottom=low * units.m,
            depth=depth * units.m,
        )
        reference = np.hypot(u, v).to("m/s").magnitude / (depth / 1000.0)
        assert shear.shear_m_s_km[index] == pytest.approx(reference, abs=0.2)


def test_choosing_the_largest_of_many_lifts_it_as_tables_of_order_statistics_say():
    # Expected maximum of n standard normal variables: H. L. Harter, Biometrika 48, 1961, table 1 (from memory): 2:
    # 0.564, 5: 1.163, 10: 1.539, 20: 1.867.
    for count, expected in ((2, 0.564), (5, 1.163), (10, 1.539), (20, 1.867)):
        lifted = choice_spread(np.full(count, 7.0), np.full(count, 2.0), 0)  # k = 2: one standard deviation is 1
        assert lifted == pytest.approx(expected, abs=0.03)
    assert choice_spread([9.0, 1.0, 2.0], [0.5, 0.5, 0.5], 0) == pytest.approx(0.0, abs=1e-9)  # no rival


def steady(east=20.0, north=-8.0, height_m=30_000.0, latitude=47.0, longitude=179.9, samples=100):
    """A drift at a height, by geographiclib's geodesics (C. F. F. Karney); a way up there is longer than below."""
    time_s = np.arange(samples, dtype=float)
    raised = 1.0 + height_m / 6_371_000.0
    places = [
        Geodesic.WGS84.Direct(
            latitude, longitude, np.degrees(np.arctan2(east, north)), np.hypot(east, north) * t / raised
        )
        for t in time_s
    ]
    return time_s, *np.array([[place["lat2"], place["lon2"]] for place in places]).T, height_m + 4.0 * time_s


def test_a_known_drift_high_up_across_the_date_line_comes_back():
    time_s, latitude, longitude, height_m = steady()
    found = wind_layers(time_s, latitude, longitude, height_m)
    assert found.east_m_s[0] == pytest.approx(20.0, abs=0.02) and found.north_m_s[0] == pytest.approx(
        -8.0, abs=0.02
    )


def test_garbled_and_standing_fixes_do_not_move_the_wind():
    time_s, latitude, longitude, height_m = steady()
    bad = latitude.copy()
    bad[::9] += 0.01  # a kilometre: one digit
    found = wind_layers(time_s, bad, longitude, height_m)
    assert found.north_m_s[0] == pytest.approx(-8.0, abs=0.3)
    latitude[40:60], longitude[40:60] = latitude[40], longitude[40]  # a receiver that says the same again and again
    found = wind_layers(time_s, latitude, longitude, height_m)
    assert found.east_m_s[0] == pytest.approx(20.0, abs=0.1)
    assert found.samples[0] == 80


def test_a_fast_fall_through_shear_is_less_sure():
    time_s = np.arange(200.0)
    height_m = 30_000.0 - 40.0 * time_s
    east_m = np.cumsum(0.01 * (height_m - 20_000.0))
    longitude = 19.0 + east_m / (111_320.0 * np.cos(np.radians(47.0)))
    fall = wind_layers(time_s, np.full(200, 47.0), longitude, height_m, falling=True)
    slow = wind_layers(8 * time_s, np.full(200, 47.0), 19.0 + 8 * (longitude - 19.0), height_m, falling=True)
    # A lag of v/g behind a shear of 0.01 per s at 40 m/s: 40 * 40 / 9.81 * 0.01 = 1.6 m/s.
    assert np.median(fall.uncertainty_m_s) > 1.6 > 1.0 > np.median(slow.uncertainty_m_s)


def test_a_told_speed_that_the_places_contradict_is_no_greatest_speed():
    time_s, latitude, longitude, height_m = steady()
    told = np.full(100, np.hypot(20.0, 8.0))
    told[50:55] = 91.0
    found = greatest_ground_speed(time_s, told, time_s, latitude, longitude, height_m)
    assert found.told and found.speed_m_s == pytest.approx(21.54, abs=found.uncertainty_m_s)
    nothing = np.zeros(0)
    found = greatest_ground_speed(nothing, nothing, time_s, latitude, longitude, height_m)
    assert not found.told and found.speed_m_s == pytest.approx(21.54, abs=0.2)
    assert greatest_ground_speed(*[nothing] * 6) is None


number = st.one_of(st.floats(-1e6, 1e6), st.sampled_from([0.0, np.nan, np.inf, 47.0, 300.0]))


@settings(max_examples=60)
@given(
    st.lists(st.tuples(number, number, number, st.one_of(st.floats(-1000, 60_000), st.just(np.nan))), max_size=60)
)
def test_no_input_breaks_it(rows):
    columns = np.array(rows, float).reshape(-1, 4).T
    found = wind_layers(*columns, thickness_m=5000.0)
    assert np.isfinite(found.east_m_s).all() and np.isfinite(found.uncertainty_m_s).all()
    find_jet(found.middle_m, found.speed_m_s, found.uncertainty_m_s)
    wind_shear(found)
