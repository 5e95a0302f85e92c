"""Seeded randomness: one independent generator a purpose, and correlated noise."""

from itertools import accumulate
from math import exp, sqrt

import numpy as np

# The numbers are part of what a seed means: give a new purpose a new number, and the noise of
# all others stays as it was.
_PURPOSES = {
    "gusts": 0, "barometer": 1, "analog": 2, "humidity": 3, "motion": 4, "gnss": 5,
    "outside_temperature": 6, "onewire": 7,
}  # fmt: skip


def generator(seed, purpose):
    """Give the random generator of one purpose.

    seed: int, 0 or more. purpose: a key of _PURPOSES.
    Returns a numpy Generator, independent of those of the other purposes.
    """
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(_PURPOSES[purpose],)))


def gauss_markov(random, samples, step_s, time_constant_s, standard_deviation):
    """Make a first-order Gauss-Markov series, stationary from its first sample.

    random: numpy Generator. Returns a float array (samples,) with the standard deviation given,
    whose correlation falls to 1/e over the time constant.
    Source: discrete Ornstein-Uhlenbeck process, e.g. Gelb, Applied Optimal Estimation, 1974,
    section 3.8 (from memory).
    """
    keep = exp(-step_s / time_constant_s)
    shocks = random.standard_normal(samples) * standard_deviation
    shocks[1:] *= sqrt(1.0 - keep * keep)
    return np.fromiter(accumulate(shocks, lambda state, shock: keep * state + shock), float, samples)


def first_order_lag(signal, step_s, time_constant_s, start):
    """Follow a signal as a sensor with a first-order time constant does.

    signal: float array (n,). time_constant_s: float, or array (n,) if it changes on the way.
    start: the sensor's value before the first sample. Returns a float array (n,).
    """
    share = 1.0 - np.exp(-step_s / np.broadcast_to(time_constant_s, signal.shape))
    steps = zip(signal.tolist(), share.tolist())
    followed = accumulate(steps, lambda state, new: state + (new[0] - state) * new[1], initial=start)
    next(followed)  # the start itself
    return np.fromiter(followed, float, len(signal))
