"""Spin, swing, blows and tumbling, against mechanics that has closed answers."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ground.analyse import blows, gyroscope, motion, swing

G = 9.80665  # CGPM 1901, the standard acceleration of gravity
UP = np.array([0.36, -0.48, 0.8])  # how a chip may lie in its box
STEP_S = 0.1


def turning_frame(time_s, up, rate_deg_s):
    """Two unit vectors across `up` as a box that turns about it sees them, each (n, 3)."""
    first = np.cross(up, [0.0, 0.0, 1.0])
    first /= np.linalg.norm(first)
    second = np.cross(up, first)
    angle = np.radians(rate_deg_s * time_s)[:, None]
    return np.cos(angle) * first - np.sin(angle) * second, np.sin(angle) * first + np.cos(angle) * second


def pendulum(length_m, amplitude_rad, time_s):
    """Angle and its rate of a swinging point mass, by the fourth-order method of Runge and Kutta."""
    step_s, angle, rate, states = 0.02, amplitude_rad, 0.0, []

    def pull(x):
        return -G / length_m * math.sin(x)

    for _ in range(int(time_s[-1] / step_s) + 2):
        states.append((angle, rate))
        a1, b1 = rate, pull(angle)
        a2, b2 = rate + step_s / 2 * b1, pull(angle + step_s / 2 * a1)
        a3, b3 = rate + step_s / 2 * b2, pull(angle + step_s / 2 * a2)
        a4, b4 = rate + step_s * b3, pull(angle + step_s * a3)
        angle += step_s / 6 * (a1 + 2 * a2 + 2 * a3 + a4)
        rate += step_s / 6 * (b1 + 2 * b2 + 2 * b3 + b4)
    return [np.interp(time_s, np.arange(len(states)) * step_s, column) for column in np.array(states).T]


def test_up_is_against_gravity_however_the_chip_lies():
    rng = np.random.default_rng(1)
    force = G * UP + rng.normal(0, 0.3, (5000, 3))
    force[::50] += rng.normal(0, 60, (100, 3))  # knocks
    assert np.degrees(np.arccos(gyroscope.up_axis(force) @ UP)) < 0.3
    assert gyroscope.up_axis(np.zeros((100, 3))) is None  # in free fall nothing is up


def test_a_record_turns_at_33_and_a_third():
    # 33 1/3 revolutions a minute are 200 deg/s: IEC 60098, analogue audio disk records.
    time_s = np.arange(0, 900, STEP_S)
    rng = np.random.default_rng(2)
    turning = (time_s >= 300) & (time_s < 600)
    zero = np.array([12.0, -7.0, 3.0])  # within the 20 deg/s of the MPU-6050 data sheet, 6.1
    rate = zero + np.outer(np.where(turning, 200.0, 0.0), UP) + rng.normal(0, 0.05, (len(time_s), 3))
    force = G * UP + rng.normal(0, 0.04, (len(time_s), 3))
    found = gyroscope.gyroscope_zero(time_s, force, rate, 300, 600, UP)
    np.testing.assert_allclose(found.rate_deg_s, zero, atol=0.01)
    assert found.seconds == pytest.approx(600, rel=0.05)
    figures = gyroscope.spin_figures(time_s[turning], (rate[turning] - found.rate_deg_s) @ UP, 3.0)
    assert figures["median_deg_s"] == pytest.approx(200, abs=0.05)
    assert figures["turns"] == pytest.approx(100 / 3 * 5, abs=0.1)
    assert figures["changes"] == 0


def test_a_pendulum_has_its_textbook_period_in_a_spinning_box():
    # The period of a pendulum of any amplitude is 2 pi sqrt(L / g) / agm(1, cos(amplitude / 2)): C. F. Gauss' mean.
    time_s = np.arange(0, 1200, STEP_S)
    length_m, amplitude = 8.0, np.radians(15.0)
    angle, angle_rate = pendulum(length_m, amplitude, time_s)
    a, b = 1.0, np.cos(amplitude / 2)
    for _ in range(6):
        a, b = (a + b) / 2, np.sqrt(a * b)
    period_s = 2 * np.pi * np.sqrt(length_m / G) / a
    east, _ = turning_frame(time_s, UP, 25.0)
    rng = np.random.default_rng(3)
    rate = np.degrees(angle_rate)[:, None] * east + 25.0 * UP + rng.normal(0, 0.05, (len(time_s), 3))
    # What hangs feels its line's pull along the line only: its box does not feel that it leans.
    pull = G * np.cos(angle) + length_m * angle_rate**2
    force = pull[:, None] * UP + rng.normal(0, 0.04, (len(time_s), 3))
    tilt, felt = swing.tilt_deg(time_s, force, rate, UP)
    found = swing.swing_figures(time_s, tilt, felt)
    assert found.period_s == pytest.approx(period_s, rel=0.006)
    assert abs(found.period_s - period_s) < 2 * found.period_uncertainty_s
    assert found.length_m == pytest.approx(length_m / a**2, rel=0.012)  # a wide swing is slower, as if on more line
    assert found.rms_deg == pytest.approx(float(np.degrees(np.sqrt(np.mean(angle**2)))), rel=0.01)
    assert found.felt_deg < 0.5


def test_the_spin_shows_the_upright_axis_better_than_an_accelerometer_with_an_offset():
    time_s = np.arange(0, 1500, STEP_S)
    wave = np.sin(2 * np.pi * time_s / 140.0)
    east, north = turning_frame(time_s, UP, 0.0)
    rate = 18.0 * wave[:, None] * UP + 4.0 * np.sin(2 * np.pi * time_s / 6.0)[:, None] * east
    rate = rate + 4.0 * np.cos(2 * np.pi * time_s / 6.3)[:, None] * north
    off = UP + np.array([0.05, 0.05, -0.08])  # the MPU-6050 data sheet's limits of the zero, 6.2, in g
    off /= np.linalg.norm(off)
    axis = gyroscope.spin_axis(time_s, rate, off)
    assert np.degrees(np.arccos(off @ UP)) > 3.0
    assert np.degrees(np.arccos(min(axis @ UP, 1.0))) < 0.3
    np.testing.assert_array_equal(gyroscope.spin_axis(time_s, 0.01 * rate, off), off)  # too slow to show it


def test_a_drop_of_20_m_takes_two_seconds():
    # h = g t^2 / 2: a stone falls 20 m in 2.02 s.
    time_s = np.arange(0, 60, 0.02)
    fall_s = np.sqrt(2 * 20.0 / G)
    falls = (time_s >= 30.0) & (time_s < 30.0 + fall_s)
    force = np.where(falls, 0.02, 1.0)[:, None] * G * UP
    force[np.argmax(time_s >= 30.0 + fall_s)] = 7.0 * G * UP
    assert blows.time_below_s(time_s, force, 20, 50, 0.3) == pytest.approx(fall_s, abs=0.05)
    assert blows.free_fall_start_s(time_s, force, 0, 60) == pytest.approx(30.0, abs=0.03)
    assert blows.strongest(time_s, force, 20, 50)[:2] == pytest.approx((30.0 + fall_s, 7.0), abs=0.03)


def test_five_turns_end_over_end_are_counted():
    time_s = np.arange(0, 600, STEP_S)
    east, _ = turning_frame(time_s, UP, 0.0)
    sway = 5.0 * np.sin(2 * np.pi * time_s / 6.0)
    rate = np.where((time_s > 100) & (time_s <= 110), 180.0, sway)[:, None] * east
    seconds, turns, greatest = blows.tumbling(time_s, rate, UP, 100.0, 600.0)
    assert turns == pytest.approx(5.0, abs=0.15)
    assert seconds == pytest.approx(10.0, abs=3.0)
    assert greatest == pytest.approx(180.0)
    assert blows.tumbling(time_s, sway[:, None] * east, UP, 100.0, 600.0)[:2] == (0.0, 0.0)


def test_readings_at_the_end_of_the_range_and_readings_that_stand_still():
    # MPU-6050 data sheet, 6.1 and 6.2: at 16 g 2048 counts are 1 g, at 2000 deg/s 16.4 counts (32768 / 2000)
    # are 1 deg/s.
    counts = np.array([[0, 0, 2048], [0, -32768, 2048], [32767, 0, 0], [31000, 0, 0]])
    force = counts / 2048 * G
    assert blows.range_used(force, np.zeros((4, 3)), 16.0, 2000.0) == pytest.approx((1.0, 0.0, 2), abs=1e-3)
    turns = np.array([[0, 32767 / 16.384, 0], [820 / 16.384, 0, 0]])
    assert blows.range_used(np.zeros((2, 3)), turns, 16.0, 2000.0) == pytest.approx((0.0, 1.0, 1), abs=1e-3)
    still = np.concatenate([np.random.default_rng(4).normal(size=(50, 3)), np.ones((40, 3))])
    good = motion.moving(still)
    assert good[:50].all() and not good[51:].any()


@settings(max_examples=25)
@given(st.integers(0, 400), st.sampled_from([0.01, 0.1, 2.0, 60.0]), st.integers(0, 99), st.booleans())
def test_nothing_makes_it_crash(count, step_s, seed, constant):
    rng = np.random.default_rng(seed)
    time_s = np.sort(rng.choice(np.arange(1000) * step_s, count, replace=seed % 2 == 0))
    force, rate = (np.full((count, 3), 7.0) if constant else rng.normal(0, 1000, (count, 3)) for _ in range(2))
    good = motion.moving(force)
    assert len(good) == count
    up = gyroscope.up_axis(force)
    gyroscope.gyroscope_zero(time_s, force, rate, 10.0, 50.0, up)
    up = gyroscope.spin_axis(time_s, rate, UP)
    tilt, felt = swing.tilt_deg(time_s, force, rate, up)
    swing.swing_figures(time_s, tilt, felt)
    gyroscope.spin_figures(time_s, rate @ up, 3.0)
    blows.tumbling(time_s, rate, up, 20.0, 300.0)
    blows.time_below_s(time_s, force, 0, 30, 0.3)
    blows.free_fall_start_s(time_s, force, 0, 30)
    assert 0 <= motion.unseen_s(time_s, 20.0, 300.0) <= 280.0
    assert len(motion.summary(time_s, force, rate @ up, tilt)["time_s"]) <= count


def test_the_medians_of_the_blocks_are_those_of_numpy_and_gaps_are_added_up():
    rng = np.random.default_rng(6)
    time_s = np.sort(rng.uniform(0.0, 95.0, 700))
    time_s = time_s[(time_s < 31.0) | (time_s > 44.0)]  # a gap of 13 s and a bit
    force, spin = rng.normal(0, 9, (len(time_s), 3)), rng.normal(0, 9, len(time_s))
    blocks = motion.summary(time_s, force, spin, np.full(len(time_s), 3.0 + 4.0j))
    for at_s, median, size in zip(blocks["time_s"], blocks["spin_deg_s"], blocks["median_g"]):
        inside = np.abs(time_s - at_s) <= 5.0
        assert median == pytest.approx(np.median(spin[inside]))
        assert size == pytest.approx(np.median(np.linalg.norm(force[inside], axis=1)) / G)
    assert blocks["swing_deg"] == pytest.approx(5.0)
    assert motion.unseen_s(time_s, 10.0, 80.0) == pytest.approx(13.0, abs=0.6)
    assert motion.unseen_s(time_s, 200.0, 230.0) == 30.0


@pytest.mark.parametrize("least", [1, 7, 1201, 90465, 102001])
def test_lengths_for_the_transform_have_no_other_factors_than_2_3_and_5(least):
    length = rest = swing._fast_length(least)
    for factor in (2, 3, 5):
        while rest % factor == 0:
            rest //= factor
    assert rest == 1 and least <= length <= max(1.1 * least, least + 1)
