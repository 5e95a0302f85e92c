"""A slow thermometer against the theory of first-order systems and SciPy's, and its time constant from a flight."""

import numpy as np
import pytest
from scipy.signal import lsim

from ground.analyse.lag import correct_lag, lag_factor, local_lines, sample_noise
from ground.analyse.time_constant import estimate_time_constant
from ground.physics.atmosphere import geopotential_height_m, standard_density_kg_m3, standard_temperature_k


def element(air, step_s, time_constant_s):
    """A first-order system's answer, each step exact for its mean air; time_constant_s: (n,)."""
    keep = np.exp(-step_s / np.broadcast_to(time_constant_s, air.shape))
    out = np.empty(len(air))
    now = air[0]
    middle = (air + np.concatenate([air[:1], air[:-1]])) / 2.0
    for i in range(len(air)):
        now = middle[i] + (now - middle[i]) * keep[i]
        out[i] = now
    return out


def test_a_ramp_and_a_step_come_back():
    time_s = np.arange(0.0, 300.0, 1.0)
    # Theory: behind a ramp a first-order system lags by tau times its rate, once it has settled.
    behind = -0.05 * (time_s - 12.0)
    corrected, smooth, _ = correct_lag(time_s, behind, 12.0)
    assert np.allclose(corrected, -0.05 * time_s, atol=1e-9) and np.allclose(smooth, behind, atol=1e-9)
    # WMO-No. 8: after one time constant 63.2 % of a step are shown.
    step = 1.0 - np.exp(-time_s / 20.0)
    assert step[20] == pytest.approx(0.632, abs=0.001)
    assert np.allclose(correct_lag(time_s, step, 20.0)[0][15:], 1.0, atol=0.03)
    # Any signal: SciPy's lsim of the same system.
    wave = np.sin(time_s / 25.0)
    _, slow, _ = lsim(([1.0], [15.0, 1.0]), wave, time_s)
    inside = slice(80, -20)
    assert np.abs(slow - wave)[inside].max() > 0.4
    assert np.abs(correct_lag(time_s, slow, 15.0)[0] - wave)[inside].max() < 0.05


def test_the_stated_noise_is_the_noise():
    time_s = np.arange(0.0, 3000.0, 1.0)
    noise = 0.1 * np.random.default_rng(1).standard_normal(len(time_s))
    assert sample_noise(noise - 0.03 * time_s) == pytest.approx(0.1, rel=0.08)
    for tau in (0.0, 6.0, 36.0):
        corrected, _, standard = correct_lag(time_s, noise, tau)
        assert np.std(corrected) == pytest.approx(np.median(standard), rel=0.2)
    fitted, slope, _, _ = local_lines(time_s, 2.0 + 0.5 * time_s, 20.0)
    assert np.allclose(slope, 0.5) and np.allclose(fitted, 2.0 + 0.5 * time_s)


def test_thin_air_slows_it_down():
    # J. Atmos. Oceanic Technol. 30, 2013, "Time constant estimates for radiosonde temperature sensors", abstract:
    # about six times as long at 10 hPa as near sea level. ISO 2533: 10 hPa at 31 km, 0.0157 kg/m3 (from memory).
    assert lag_factor(1.225) == 1.0 and lag_factor(2.0) == 1.0
    assert lag_factor(0.0157) == pytest.approx(6.0, rel=0.05)
    assert lag_factor(1.225 / 4) == pytest.approx(2.0)


def flight(time_constant_s, top_m=28_000.0, noise_k=0.05, warmer_below_k=0.0):
    """(up, down) of a made flight: 5 m/s up, 5.5 m/s at sea level down, in the standard atmosphere with a wave."""
    rise = np.arange(100.0, top_m, 5.0)
    sink = [top_m]
    while sink[-1] > 100.0:
        sink.append(sink[-1] - 5.5 * np.sqrt(1.225 / standard_density_kg_m3(geopotential_height_m(sink[-1]))))
    height = np.concatenate([rise, sink])
    time_s = np.arange(len(height), dtype=float)
    density = standard_density_kg_m3(geopotential_height_m(height))
    air = standard_temperature_k(geopotential_height_m(height)) + 2.0 * np.sin(height / 900.0)
    air[len(rise) :] += warmer_below_k * np.sin(height[len(rise) :] / 4000.0)
    slow = element(air, 1.0, np.maximum(time_constant_s * lag_factor(density), 1e-3))
    slow = slow + noise_k * np.random.default_rng(3).standard_normal(len(slow))
    ways = (slice(0, len(rise)), slice(len(rise), None))
    return [(time_s[way], slow[way], height[way], density[way]) for way in ways]


@pytest.mark.parametrize("seconds", [0.0, 3.0, 8.0, 20.0])
def test_climb_and_fall_give_the_time_constant(seconds):
    found = estimate_time_constant(*flight(seconds))
    assert abs(found.seconds - seconds) <= found.uncertainty_s
    assert found.uncertainty_s < max(0.6, 0.25 * seconds)


def test_other_air_on_the_way_down_makes_it_less_sure_and_not_wrong():
    found = estimate_time_constant(*flight(8.0, warmer_below_k=0.5))
    assert abs(found.seconds - 8.0) <= found.uncertainty_s
    assert found.uncertainty_s > 2.0 * estimate_time_constant(*flight(8.0)).uncertainty_s
    assert "too loosely" in estimate_time_constant(*flight(8.0, warmer_below_k=3.0)).reason


def test_what_is_missing_gives_a_reason_or_nan():
    up, down = flight(6.0, top_m=3000.0)
    nothing = tuple(column[:0] for column in down)
    assert estimate_time_constant(up, nothing).reason and estimate_time_constant(nothing, nothing).seconds is None
    assert estimate_time_constant(up, tuple(column[:20] for column in down)).seconds is None
    few = np.arange(3.0)
    assert np.isnan(correct_lag(few, few, 5.0)[0]).all() and len(correct_lag(few[:0], few[:0], 5.0)[0]) == 0
    lone = np.array([0.0, 1, 2, 3, 4, 5, 6, 500, 501, 502])  # three samples behind a gap are too few
    corrected = correct_lag(lone, lone, 5.0)[0]
    assert np.isfinite(corrected[:4]).all() and np.isnan(corrected[-3:]).all()
    assert np.isnan(sample_noise(few)) and sample_noise(np.ones(9)) == 0.0
    same_moment = np.zeros(20)
    assert not np.isfinite(correct_lag(same_moment, same_moment, 5.0)[0]).any()
