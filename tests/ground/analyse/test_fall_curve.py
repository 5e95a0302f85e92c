"""Falls, against another library's atmosphere, integrator and sphere."""

from functools import lru_cache

import fluids
import numpy as np
import pytest
from ambiance import Atmosphere
from scipy.integrate import solve_ivp

from ground.analyse import canopy, drag, fall_curve, fall_speeds
from ground.physics.atmosphere import geopotential_height_m, standard_density_kg_m3

HEIGHTS_M = np.arange(0.0, 32_000.0, 50.0)
DENSITY = Atmosphere(HEIGHTS_M).density  # ISO 2533 by another library


def density_of(time_s, height_m):
    return np.interp(height_m, HEIGHTS_M, DENSITY)


@lru_cache
def flown_at(ballistic):
    return fallen(lambda h: ballistic)


def fallen(ballistic_of, top_m=30_000.0, ground_m=100.0):
    """(time_s, height_m, speed downwards) each second of a fall with square drag, by scipy's integrator.

    ballistic_of: function of height -> mass over drag area, kg/m2.
    """

    def motion(_, state):
        height_m, up_m_s = state
        drag = density_of(0.0, height_m) * up_m_s * abs(up_m_s) / (2.0 * ballistic_of(height_m))
        return up_m_s, -9.80665 * (6356766.0 / (6356766.0 + height_m)) ** 2 - drag

    def ground(_, state):
        return state[0] - ground_m

    ground.terminal = True
    flown = solve_ivp(
        motion, (0.0, 9000.0), (top_m, 5.0), events=ground, max_step=1.0, rtol=1e-8, dense_output=True
    )
    time_s = np.arange(0.0, flown.t[-1])
    height_m, up_m_s = flown.sol(time_s)
    return time_s, height_m, -up_m_s


def curve_of(time_s, height_m, noise_m=0.0, reported=None):
    noisy = height_m + np.random.default_rng(2).normal(0, noise_m, len(height_m))
    return fall_curve.fall_curve(time_s, noisy, np.ones(len(time_s)), density_of, reported)


def test_the_terminal_speed_of_a_sphere_is_that_of_the_library_fluids():
    # fluids.v_terminal solves for the speed with a drag coefficient that depends on the Reynolds number; its
    # drag coefficient at that speed gives mass over drag area, with the buoyancy of the air taken off the mass.
    for diameter, dense in ((0.02, 900.0), (0.1, 200.0)):
        air, viscosity = 1.2, 1.8e-5
        speed = fluids.v_terminal(diameter, dense, air, viscosity)
        coefficient = fluids.drag_sphere(fluids.Reynolds(speed, diameter, air, viscosity))
        area = np.pi / 4 * diameter**2
        ballistic = (dense - air) * np.pi / 6 * diameter**3 / (coefficient * area)
        assert drag.terminal_speed_m_s(ballistic, air) == pytest.approx(speed, rel=1e-3)
        assert drag.ballistic_coefficient(speed, 0.0, air) == pytest.approx(ballistic, rel=2e-3)


def test_the_speed_grows_with_height_as_the_density_table_of_iso_2533_says():
    # ISO 2533, geometric heights: 1.225, 0.413510, 0.0889097, 0.0184101 kg/m3 at 0, 10, 20, 30 km.
    table = np.array([1.225, 0.413510, 0.0889097, 0.0184101])
    heights_m = geopotential_height_m(np.array([0.0, 10e3, 20e3, 30e3]))
    speeds = drag.terminal_speed_m_s(1.5, standard_density_kg_m3(heights_m))
    assert speeds / speeds[0] == pytest.approx(np.sqrt(table[0] / table), rel=1e-4)


def test_what_has_settled_falls_as_the_integrator_says():
    _, height_m, speed = flown_at(1.55)
    density = density_of(0.0, height_m)
    gravity = 9.80665 * (6356766.0 / (6356766.0 + height_m)) ** 2  # ISO 2533, 2.3
    settled = drag.settled_speed_m_s(1.55, density, gravity)
    late = (height_m < 27_000.0) & (height_m > 200.0)
    assert settled[late] == pytest.approx(speed[late], rel=0.004)
    # Without the slowing down, the speed high up would be too low.
    high = late & (height_m > 25_000.0)
    assert (drag.terminal_speed_m_s(1.55, density, gravity)[high] < speed[high] * 0.997).all()
    assert np.isnan(drag.settled_speed_m_s(1.55, 1e-5))


@pytest.mark.parametrize("ballistic", [0.6, 1.55, 6.0])
def test_mass_over_drag_area_is_found_again_from_noisy_heights(ballistic):
    time_s, height_m, speed = flown_at(ballistic)
    curve = curve_of(time_s, height_m, noise_m=2.0)
    found = canopy.find_ballistic(curve, 0.0, 100.0, 0.01)
    assert abs(found.value - ballistic) <= found.uncertainty < 0.1 * ballistic
    assert found.changed_at_m is None and not canopy.looks_carried(curve)
    top, uncertainty, _, at_m = fall_speeds.greatest_speed(curve, 0.0)
    assert abs(top - speed.max()) <= uncertainty < 0.05 * speed.max()
    assert at_m == pytest.approx(height_m[np.argmax(speed)], abs=1000.0)
    landing, spread, _ = fall_speeds.speed_at_ground(curve, 100.0, float(density_of(0, 100.0)))
    assert abs(landing - speed[-1]) <= spread
    rows = fall_speeds.band_speeds(curve, found.value, np.zeros(len(curve)))
    for bottom_m, top_m, mean, give, expected, _ in rows[:-1]:
        crossed_s = np.interp([-top_m, -bottom_m], -height_m, time_s)
        assert abs(mean - (top_m - bottom_m) / np.diff(crossed_s)[0]) <= give
        assert expected == pytest.approx(mean, rel=0.04)


def test_a_canopy_that_opens_late_is_seen_where_it_opens():
    curve = curve_of(*fallen(lambda h: np.where(h > 8000.0, 12.0, 1.5))[:2], noise_m=2.0)
    found = canopy.find_ballistic(curve, 0.0, 100.0, 0.01)
    assert found.changed_at_m == pytest.approx(8000.0, abs=500.0)
    assert abs(found.value - 1.5) <= found.uncertainty and found.upper_value == pytest.approx(12.0, rel=0.1)


def test_a_leaking_balloon_is_no_parachute_until_it_bursts():
    time_s = np.arange(0.0, 4000.0)
    sinking_m = 20_000.0 - 2.5 * time_s
    assert canopy.looks_carried(curve_of(time_s, sinking_m, noise_m=1.0))
    after_s, after_m, _ = fallen(lambda h: 1.5, top_m=float(sinking_m[-1]))
    joined = curve_of(np.concatenate([time_s, 4000.0 + after_s]), np.concatenate([sinking_m, after_m]), noise_m=1.0)
    assert canopy.slow_part(joined) == pytest.approx(4000.0, abs=40.0)
    assert canopy.slow_part(curve_of(*fallen(lambda h: 1.5)[:2], noise_m=1.0)) is None


def test_a_receivers_own_speeds_count_only_if_they_agree():
    time_s, height_m, speed = flown_at(1.55)
    good = curve_of(time_s, height_m, 3.0, (time_s, speed + 0.01))
    assert np.interp(300.0, good.time_s, good.speed_m_s) == pytest.approx(
        np.interp(300.0, time_s, speed) + 0.01, abs=1e-6
    )
    assert good.noise_m_s < 0.05 and (good.reach_s == 0).all()
    bad = curve_of(time_s, height_m, 3.0, (time_s, speed * 1.3))
    assert np.interp(300.0, bad.time_s, bad.speed_m_s) == pytest.approx(np.interp(300.0, time_s, speed), rel=0.1)


def test_wrong_fixes_hardly_move_the_result():
    time_s, height_m, _ = flown_at(1.55)
    height_m = height_m + np.where(np.arange(len(height_m)) % 11 == 0, 55.0, 0.0)
    found = canopy.find_ballistic(curve_of(time_s, height_m, 2.0), 0.0, 100.0, 0.01)
    assert found.value == pytest.approx(1.55, rel=0.05)


@pytest.mark.parametrize("samples", [0, 1, 8, 12])
def test_little_or_constant_data_give_no_numbers(samples):
    time_s = np.arange(samples, dtype=float)
    for height_m in (np.full(samples, 500.0), 5000.0 - 30.0 * time_s):
        curve = curve_of(time_s, height_m)
        assert canopy.find_ballistic(curve, 0.0, None, 0.01).reason
        assert fall_speeds.speed_at_ground(curve, 0.0, 1.2)[0] is None
        assert fall_speeds.band_speeds(curve, None, np.zeros(len(curve))) == [] and canopy.slow_part(curve) is None
        assert (fall_speeds.greatest_speed(curve, 0.0) is None) == (len(curve) < 3 or height_m[0] == height_m[-1])
