"""The motion sensor: gravity, swing, burst, fall, landing, rest."""

from dataclasses import replace

import numpy as np
import pytest

from onboard.simulator.world.chance import generator
from onboard.simulator.world.motion import force_in_box, motion_stream, rates_in_box
from onboard.simulator.world.sensors import inside_temperature_k


class Readings:
    """A motion stream in physical units, by the scales of the MPU-6000 register map."""

    def __init__(self, stream, range_g=16, range_deg_s=2000):
        self.time_s = np.arange(len(stream.rows)) * stream.period_ms / 1000.0
        self.force_g = stream.rows[:, 0:3] / (32768.0 / range_g)
        self.celsius = stream.rows[:, 3] / 340.0 + 36.53
        self.rate_deg_s = stream.rows[:, 4:7] / (32768.0 / range_deg_s)
        self.size_g = np.linalg.norm(self.force_g, axis=1)

    def between(self, start_s, end_s):
        return (self.time_s >= start_s) & (self.time_s < end_s)


@pytest.fixture(scope="module")
def readings(streams, mission):
    return Readings(streams["motion"], mission.motion.acceleration_range_g, mission.motion.rate_range_deg_s)


def test_on_the_ground_it_feels_one_g_upwards(readings, truth):
    waiting = readings.between(0.0, truth.release.time_s)
    assert readings.force_g[waiting].mean(axis=0) == pytest.approx([0.0, 0.0, 1.0], abs=0.06)
    assert readings.force_g[waiting].std(axis=0).max() < 0.01
    assert np.abs(readings.rate_deg_s[waiting].mean(axis=0)).max() < 3.0


def test_the_climb_swings_and_spins_but_weighs_one_g(readings, truth):
    climb = readings.between(truth.release.time_s + 60.0, truth.burst.time_s - 1.0)
    assert readings.size_g[climb].mean() == pytest.approx(1.0, abs=0.03)
    assert 0.02 < readings.force_g[climb, 0].std() < 0.2
    assert 1.0 < readings.rate_deg_s[climb, 0].std() < 20.0
    assert 3.0 < readings.rate_deg_s[climb, 2].std() < 30.0


def test_the_burst_is_a_shock_and_then_near_free_fall(readings, truth):
    shock = readings.between(truth.burst.time_s, truth.burst.time_s + 0.3)
    assert readings.size_g[shock].max() > 4.0
    falling = readings.between(truth.burst.time_s + 0.8, truth.burst.time_s + 2.0)
    assert readings.size_g[falling].max() < 0.3
    tumbling = readings.between(truth.burst.time_s + 0.5, truth.burst.time_s + 3.0)
    assert np.linalg.norm(readings.rate_deg_s[tumbling], axis=1).mean() > 60.0


def test_under_the_parachute_it_settles(readings, truth):
    settled = readings.between(truth.burst.time_s + 120.0, truth.landing.time_s - 10.0)
    assert readings.size_g[settled].mean() == pytest.approx(1.0, abs=0.03)
    assert readings.force_g[settled, 2].mean() > 0.9


def test_the_landing_is_a_shock_and_then_stillness_on_the_side(readings, truth):
    before = readings.between(truth.landing.time_s - 0.4, truth.landing.time_s)
    assert readings.size_g[before] == pytest.approx(1.0, abs=0.15)
    shock = readings.between(truth.landing.time_s, truth.landing.time_s + 0.3)
    assert readings.size_g[shock].max() > 4.0
    resting = readings.between(truth.landing.time_s + 3.0, readings.time_s[-1])
    assert readings.size_g[resting].mean() == pytest.approx(1.0, abs=0.04)
    assert abs(readings.force_g[resting, 2].mean()) < 0.1
    assert readings.force_g[resting].std(axis=0).max() < 0.01


def followed(start, rates_rad_s):
    """Turn a direction in the axes of the box as the gyroscope says, 50 ms a row.

    A direction fixed in space turns in the axes of a body by dg/dt = -omega x g (kinematics of
    rotation); here exactly, as a rotation about the mean rate of each step (Rodrigues' formula).
    """
    directions = [start]
    for omega in (rates_rad_s[1:] + rates_rad_s[:-1]) / 2.0:
        angle = np.linalg.norm(omega) * 0.05
        axis, g = -omega / max(np.linalg.norm(omega), 1e-12), directions[-1]
        turned = np.cos(angle) * g + np.sin(angle) * np.cross(axis, g)
        directions.append(turned + (1.0 - np.cos(angle)) * (axis @ g) * axis)
    return np.array(directions)


def apart_deg(first, second):
    return np.degrees(np.arccos(np.clip(np.sum(first * second, axis=1), -1.0, 1.0)))


def test_gyroscope_and_accelerometer_tell_of_the_same_movement(readings, truth):
    offsets = readings.rate_deg_s[: int(truth.release.time_s * 20)].mean(axis=0)
    start = int((truth.release.time_s + 600.0) * 20)
    span = slice(start, start + 400)
    seen = readings.force_g[span] / readings.size_g[span, None]
    by_gyroscope = followed(seen[0], np.radians(readings.rate_deg_s[span] - offsets))
    assert apart_deg(by_gyroscope, seen).mean() < 3.0
    # So that this says something: meanwhile the box has swung through more than that.
    assert apart_deg(seen, seen[:1]).max() > 4.0


def test_rates_and_forces_agree_however_far_the_box_tumbles():
    time_s = np.arange(0.0, 30.0, 0.05)
    angles = np.array([0.7 * time_s, 1.2 * np.sin(0.5 * time_s), 0.9 * time_s + np.cos(0.3 * time_s)])
    seen = force_in_box(angles, np.ones(len(time_s))).T
    np.testing.assert_allclose(np.linalg.norm(seen, axis=1), 1.0, atol=1e-12)
    by_gyroscope = followed(seen[1], rates_in_box(angles).T[1:-1])
    assert apart_deg(by_gyroscope, seen[1:-1]).max() < 0.5


def test_its_temperature_is_the_boards(readings, truth):
    inside = np.interp(readings.time_s, truth.time_s, inside_temperature_k(truth)) - 273.15
    assert np.abs(readings.celsius - inside).max() < 0.01


def test_readings_saturate_at_the_range(truth, mission):
    narrow = replace(mission.motion, acceleration_range_g=2, rate_range_deg_s=250)
    stream = motion_stream(truth, inside_temperature_k(truth), narrow, generator(1, "motion"))
    forces, rates = stream.rows[:, 0:3], stream.rows[:, 4:7]
    assert np.abs(forces).max() == 32767
    assert np.abs(rates).max() <= 32767
    assert forces.min() >= -32767
    waiting = Readings(stream, 2, 250)
    assert waiting.size_g[:1000].mean() == pytest.approx(1.0, abs=0.05)
