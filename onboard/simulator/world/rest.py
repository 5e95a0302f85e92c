"""What the payload does after it came to rest: lies there, sways in a tree, or is driven off."""

import numpy as np

_SWAY_M, _SWAY_PERIOD_S = 0.3, 4.0  # a branch in a breeze; a guess, no source
_LIFTED_M, _LIFTED_S = 1.0, 3.0  # onto the seat of a car
_DRIVE_M_S, _DRIVE_RISES_S = 13.0, 20.0  # along a country road
_TURN_PERIOD_S, _HILL_M, _HILL_PERIOD_S = 240.0, 4.0, 180.0


def rest_seconds(mishaps, after_s):
    """How long the record goes on after the landing: longer if the payload is driven off."""
    return after_s if mishaps.carried_after_s is None else max(after_s, mishaps.carried_after_s + 300.0)


def rest_motion(mishaps, samples, step_s):
    """Heights above the place of rest, m, and velocities east, north, up, m/s: four float arrays (samples,)."""
    time_s = np.arange(samples) * step_s
    height_m, east_m_s, north_m_s = np.zeros((3, samples))
    if mishaps.tree_m:
        swing = 2.0 * np.pi / _SWAY_PERIOD_S
        east_m_s = _SWAY_M * swing * np.cos(swing * time_s) * np.exp(-time_s / 600.0)
    if mishaps.carried_after_s is not None:
        since_s = np.maximum(time_s - mishaps.carried_after_s, 0.0)
        driven_s = np.maximum(since_s - 10.0, 0.0)
        speed_m_s = _DRIVE_M_S * np.minimum(driven_s / _DRIVE_RISES_S, 1.0)
        course = 0.8 + 0.9 * np.sin(2.0 * np.pi * driven_s / _TURN_PERIOD_S)
        parked = since_s == 0.0
        east_m_s = np.where(parked, east_m_s, speed_m_s * np.sin(course))
        north_m_s = speed_m_s * np.cos(course)
        lifted_m = (_LIFTED_M - mishaps.tree_m) * np.minimum(since_s / _LIFTED_S, 1.0)
        height_m = lifted_m + _HILL_M * (1.0 - np.cos(2.0 * np.pi * driven_s / _HILL_PERIOD_S))
    up_m_s = np.gradient(height_m, step_s) if samples > 1 else np.zeros(samples)
    return height_m, east_m_s, north_m_s, up_m_s
