"""The battery's steps and what the cold takes from it, against Ohm's law; and who stands still."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ground.analyse import alive, power

# Ohm's law: a cell of this resistance gives so much less for each ampere drawn.
RESISTANCE_OHM, LOGGER_A, CAMERA_A = 0.45, 0.13, 0.55
NOISE_V = 0.003  # two counts of a converter of 12 bits behind a divider of 3 at 3.3 V


def voltage(time_s, celsius, current_a, open_v=5.2, per_k=0.006, per_hour=-0.08, seed=1):
    noise = np.random.default_rng(seed).normal(0, NOISE_V, len(time_s))
    return open_v - RESISTANCE_OHM * current_a + per_k * (celsius - 20.0) + per_hour * time_s / 3600 + noise


def flight_celsius(time_s):
    return 20.0 - 55.0 * np.sin(np.pi * np.clip(time_s / 9000.0, 0, 1)) ** 2


def test_a_camera_that_stops_is_a_step_of_its_current_times_the_resistance():
    time_s = np.arange(0, 9000, 5.0)
    current_a = LOGGER_A + np.where((time_s > 402) & (time_s < 5003), CAMERA_A, 0.0)
    steps = power.find_steps(time_s, voltage(time_s, flight_celsius(time_s), current_a))
    assert len(steps) == 2
    for step, true_s, sign in zip(steps, (402, 5003), (-1, 1)):
        assert step.before_s <= true_s <= step.after_s
        assert abs(step.volts - sign * CAMERA_A * RESISTANCE_OHM) < 3 * step.uncertainty_v


@pytest.mark.parametrize("seed", range(4))
def test_cold_and_age_and_noise_make_no_step(seed):
    time_s = np.arange(0, 9000, 5.0)
    fresh = 0.4 * np.exp(-time_s / 300.0)  # a fresh cell's fall
    assert power.find_steps(time_s, voltage(time_s, flight_celsius(time_s), LOGGER_A, seed=seed) + fresh) == []
    wild = voltage(time_s, flight_celsius(time_s), LOGGER_A, seed=seed)
    wild[700] = 0.0  # one garbled reading
    assert power.find_steps(time_s, wild) == []


@pytest.mark.parametrize("per_k", [0.0, 0.006, 0.02])
def test_the_effect_of_the_cold_is_told_from_that_of_age_and_of_the_load(per_k):
    time_s = np.arange(0, 9000, 5.0)
    celsius = flight_celsius(time_s)
    volts = voltage(time_s, celsius, LOGGER_A + np.where(time_s > 5003, 0.0, CAMERA_A), per_k=per_k)
    fit = power.fit_cold(time_s, volts, celsius, power.find_steps(time_s, volts))
    assert abs(fit.volts_per_k - per_k) <= max(2 * fit.uncertainty_v_per_k, 1e-4)
    assert fit.uncertainty_v_per_k < 0.0025
    assert power.fit_cold(time_s, volts, -time_s / 100, []).reason  # it only gets colder with age
    assert power.fit_cold(time_s, volts, 0 * time_s, []).reason


def test_the_effect_of_the_cold_is_found_from_very_many_samples_too_and_not_without_time():
    time_s = np.arange(0, 9000, 0.1)
    celsius = flight_celsius(time_s)
    fit = power.fit_cold(time_s, voltage(time_s, celsius, LOGGER_A), celsius, [])
    assert abs(fit.volts_per_k - 0.006) <= 2 * fit.uncertainty_v_per_k and fit.samples == len(time_s)
    with np.errstate(all="raise"):
        assert "stand still" in power.fit_cold(0 * time_s, celsius + 100.0, celsius, []).reason


def test_least_squares_give_the_certified_numbers():
    # NIST Statistical Reference Datasets, Linear Regression, "Norris" (data and numbers from memory): intercept and
    # slope with their standard deviations, and the residual sum of squares.
    x = [0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0,
         447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1,
         118.3, 229.2, 669.1, 448.9, 0.5]  # fmt: skip
    y = [0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3,
         448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2,
         117.6, 228.9, 668.4, 449.2, 0.2]  # fmt: skip
    numbers, left, deviations = power._least_squares(np.column_stack([np.ones(36), x]), np.array(y))
    assert numbers == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-9)
    assert deviations == pytest.approx([0.232818234301152, 0.429796848199937e-3], rel=1e-9)
    assert left == pytest.approx(26.6173985294224, rel=1e-9)


@settings(max_examples=25)
@given(st.integers(0, 200), st.integers(0, 99), st.booleans())
def test_nothing_makes_it_crash(count, seed, constant):
    rng = np.random.default_rng(seed)
    time_s = np.sort(rng.choice(1000.0 + np.arange(300), count, replace=seed % 2 == 0))
    volts, celsius = (np.full(count, 4.0) if constant else rng.normal(0, 100, count) for _ in range(2))
    steps = power.find_steps(time_s, volts)
    power.fit_cold(time_s, volts, np.where(rng.random(count) < 0.1, np.nan, celsius), steps)
    power.level(time_s, volts, 0, 1100)
    power.extreme(time_s, volts, -1)
    assert len(alive.changes(time_s, volts, 60.0)) == count
    if count:
        assert alive.silent_since_s(time_s, volts[:, None], 1e6) == (time_s[-1], "silent")


def test_what_says_the_same_for_ten_minutes_stands_still():
    time_s = np.arange(0, 4000, 5.0)
    celsius = np.random.default_rng(3).normal(0, 0.01, len(time_s))
    celsius[(time_s >= 1000) & (time_s < 1700)] = -7.0
    celsius[(time_s >= 3000) & (time_s < 3500)] = -7.0  # short enough to be true
    np.testing.assert_array_equal(alive.changes(time_s, celsius, 600.0), (time_s < 1000) | (time_s >= 1700))
    assert alive.silent_since_s(time_s, celsius[:, None], 4000.0) is None
    celsius[time_s > 3800] = 1.0
    assert alive.silent_since_s(time_s, celsius[:, None], 4000.0) == (3805.0, "stands still")
