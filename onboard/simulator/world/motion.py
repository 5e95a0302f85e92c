"""What the accelerometer and the gyroscope in the box feel.

The box hangs on its line below the balloon. Its attitude is three angles: two tilts (about x,
then about y) and a spin about z, which points up while the box hangs quietly. Rates and forces
both follow from these angles, so that they agree with each other.
"""

import numpy as np

from ground.physics.atmosphere import STANDARD_GRAVITY_M_S2, gravity_m_s2
from onboard.simulator.world.chance import gauss_markov
from onboard.simulator.world.stream import as_stream, stream_times_s
from onboard.simulator.world.vertical import BURST, CUT, LEAK

PERIOD_MS = 50
_STEP_S = PERIOD_MS / 1000.0
# Sizes of the box's movements are guesses after films of such flights: common practice, no source.
_SWING_PERIOD_S = 6.0  # a pendulum on a line of 9 m
_CLIMB_SWING_RAD = np.radians(4.0)
_FALL_SWING_RAD = np.radians(9.0)
_SPIN_RAD_S = np.radians(15.0)
_TUMBLE_TURNS = (4, -3)  # whole turns, so that the box ends upright under the parachute
_TUMBLE_S = 8.0
_SETTLE_S = 0.8  # from touching the ground to lying on the side
_BURST_SHOCK_G = 9.0
_CUT_SHOCK_G = 2.0  # the line goes slack, no more
_TREE_SHOCK_G = 3.0
_TREE_SWING_RAD = np.radians(3.0)
_CAR_G = 0.08  # what a road does to a box on a seat
_LANDING_SHOCK_G = 12.0
_SHOCK_S = 0.1
_BUFFETING_G = 0.015
# MPU-6050 product specification: noise of 400 ug/sqrt(Hz) over some 100 Hz, 0.05 deg/s. The
# offsets are well inside its limits of 50 to 80 mg and 20 deg/s, as of a calibrated board.
_NOISE_G, _OFFSET_G = 0.004, 0.01
_NOISE_DEG_S, _OFFSET_DEG_S = 0.05, 0.6


def motion_stream(truth, board_temperature_k, motion, random):
    """Make the readings of the motion sensor.

    truth: a Truth. board_temperature_k: float array at the truth's times. motion: the mission's
    section (ranges). random: numpy Generator.
    Returns a Stream of 50 ms whose columns are the MPU-6050's output registers in their order:
    acceleration x, y, z; temperature; angular rate x, y, z: each -32767 to 32767.
    """
    time_s = stream_times_s(truth, PERIOD_MS)
    angles = angles_rad(truth, time_s, random)
    # As a sensor at rest feels its support, the reading is acceleration plus gravity, upwards.
    height_m = np.interp(time_s, truth.time_s, truth.height_m)
    upward_m_s2 = _acceleration_m_s2(truth, time_s) + gravity_m_s2(height_m)
    force = force_in_box(angles, upward_m_s2 / STANDARD_GRAVITY_M_S2)
    for moment, size_g in shocks(truth):
        force = force + _shock(time_s - moment.time_s, size_g, random)
    aloft = (time_s >= truth.release.time_s) & (time_s < truth.landing.time_s)
    buffeting_g = np.where(aloft, _BUFFETING_G, 0.0)
    if truth.mishaps.carried_after_s is not None:
        buffeting_g[time_s > truth.landing.time_s + truth.mishaps.carried_after_s] = _CAR_G
    force = force + _noise(random, len(time_s), np.hypot(buffeting_g, _NOISE_G), _OFFSET_G)
    rate_deg_s = np.degrees(rates_in_box(angles)) + _noise(random, len(time_s), _NOISE_DEG_S, _OFFSET_DEG_S)

    celsius = np.interp(time_s, truth.time_s, board_temperature_k) - 273.15
    columns = [
        *(force * (32768.0 / motion.acceleration_range_g)),
        (celsius - 36.53) * 340.0,
        *(rate_deg_s * (32768.0 / motion.rate_range_deg_s)),
    ]
    return as_stream(PERIOD_MS, columns, -32767, 32767)


def shocks(truth):
    """The blows that the box gets: tuples (Moment, size in g) in their order."""
    size_g = {BURST: _BURST_SHOCK_G, CUT: _CUT_SHOCK_G, LEAK: 0.0}[truth.climb_ended_by]
    return (truth.climb_end, size_g), (truth.landing, _TREE_SHOCK_G if truth.mishaps.tree_m else _LANDING_SHOCK_G)


def _acceleration_m_s2(truth, time_s):
    acceleration = np.gradient(truth.velocity_up_m_s, truth.time_s)
    # The sudden stop at the landing is felt as a shock of its own.
    acceleration[np.abs(truth.time_s - truth.landing.time_s) < 0.25] = 0.0
    return np.interp(time_s, truth.time_s, acceleration)


def angles_rad(truth, time_s, random):
    """Tilt about x, tilt about y, spin: float array (3, n), at times every 50 ms from power-on."""
    since_release_s = time_s - truth.release.time_s
    # Under a balloon that leaks it goes on swinging as before: there is no free fall, and no tumbling.
    leaks = truth.climb_ended_by == LEAK
    since_burst_s = np.full_like(time_s, -1.0) if leaks else time_s - truth.climb_end.time_s
    landed = np.clip((time_s - truth.landing.time_s) / _SETTLE_S, 0.0, 1.0)
    landed = landed * landed * (3.0 - 2.0 * landed)
    in_the_air = np.clip(since_release_s / 10.0, 0.0, 1.0) * (1.0 - landed)
    hangs = landed if truth.mishaps.tree_m else 0.0  # in a tree, upright
    # The parachute's wider swing takes over slowly: the fall begins with the tumbling.
    falling = 1.0 - np.exp(-np.maximum(since_burst_s, 0.0) / _TUMBLE_S)
    size = in_the_air * (_CLIMB_SWING_RAD + falling * (_FALL_SWING_RAD - _CLIMB_SWING_RAD))
    size = size + hangs * _TREE_SWING_RAD
    phase = 2.0 * np.pi * time_s / _SWING_PERIOD_S
    # Two slowly changing amplitudes make a swing whose direction and width wander.
    tilts = []
    for turns, lying in zip(_TUMBLE_TURNS, (np.pi / 2.0, 0.0)):
        sine, cosine = (gauss_markov(random, len(time_s), _STEP_S, 120.0, 0.7) for _ in range(2))
        swing = size * _smoothed(sine) * np.sin(phase) + size * _smoothed(cosine) * np.cos(phase)
        tilts.append(swing + 2.0 * np.pi * turns * falling + lying * (landed - hangs))
    spin_rate = _smoothed(gauss_markov(random, len(time_s), _STEP_S, 60.0, _SPIN_RAD_S)) * in_the_air
    return np.array([*tilts, np.cumsum(spin_rate) * _STEP_S])


def _smoothed(series):
    """Running mean over 2 s: a box has inertia, and a Gauss-Markov series is all corners."""
    width = round(2.0 / _STEP_S)
    sums = np.cumsum(np.pad(series, (width, 0), mode="edge"))
    return (sums[width:] - sums[:-width]) / width


def force_in_box(angles, upward):
    """Turn a force that points upwards into the axes of the tilted and spun box.

    angles: tilt about x, then about y, then spin about z, rad, float array (3, n); upward: (n,).
    Returns float array (3, n).
    """
    tilt_x, tilt_y, spin = angles
    y = upward * np.sin(tilt_x)
    z = upward * np.cos(tilt_x)
    x, z = -z * np.sin(tilt_y), z * np.cos(tilt_y)
    return np.array([np.cos(spin) * x + np.sin(spin) * y, np.cos(spin) * y - np.sin(spin) * x, z])


def rates_in_box(angles):
    """Find the angular rates about the box's axes, rad/s, (3, n), from angles every 50 ms, (3, n)."""
    tilt_x_rate, tilt_y_rate, spin_rate = np.gradient(angles, _STEP_S, axis=1)
    _, tilt_y, spin = angles
    x = tilt_x_rate * np.cos(tilt_y)
    return np.array(
        [
            np.cos(spin) * x + np.sin(spin) * tilt_y_rate,
            np.cos(spin) * tilt_y_rate - np.sin(spin) * x,
            tilt_x_rate * np.sin(tilt_y) + spin_rate,
        ]
    )


def _shock(since_s, size_g, random):
    """A dying blow in a chance direction, (3, n), g."""
    direction = random.standard_normal(3)
    direction /= np.linalg.norm(direction)
    strength = np.where(since_s >= 0.0, size_g * np.exp(-np.maximum(since_s, 0.0) / _SHOCK_S), 0.0)
    return direction[:, None] * strength


def _noise(random, samples, size, offset):
    return random.standard_normal((3, samples)) * size + random.standard_normal((3, 1)) * offset
