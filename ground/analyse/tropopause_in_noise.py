"""Tropopauses of a dense, noisy profile, such as a flight's, and how firmly they stand."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.profile import even_levels, gaps
from ground.analyse.tropopause import DEPTH_M, FLOOR_M, Level, find_tropopauses

EVEN_STEPS_M = (100.0, 125.0, 150.0, 200.0)  # how much a dense profile is smoothed; the first is the main one
# Gaps of a dense profile that may hide a tropopause: just below one, and anywhere.
GAP_M, WIDE_GAP_M = 700.0, 2500.0
ONE_LEVEL_M = 500.0  # results further apart are different levels


@dataclass(frozen=True)
class Spread:
    """How firmly the first tropopause stands. level: Level, or None; standard_m: standard uncertainty of its
    height, from noise and smoothing; share: of the repetitions that found it within 500 m; rival_m: the
    geopotential height that most of the others found, or None; further: list of (Level, share of the repetitions);
    reason: as in Tropopauses.
    """

    level: Level | None
    standard_m: float | None
    share: float
    rival_m: float | None
    further: tuple
    reason: str | None
    floor: str


def in_noise(geopotential_height_m, temperature_k, noise_k, pressure_hpa=None, repetitions=3) -> Spread:
    """Find the tropopauses of a dense, noisy profile, and how firmly they stand.

    geopotential_height_m, temperature_k, noise_k (standard uncertainty), pressure_hpa: float arrays (n,), NaN
    allowed. The profile is smoothed over 100 to 200 m on levels that begin at two places, and noise is added to it
    again as often as `repetitions` says; the same noise each time that it is called. The level is
    that of the least smoothing among those that most repetitions found. Source: the parametric bootstrap (B. Efron
    and R. Tibshirani, 1993, from memory).
    """
    random = np.random.default_rng(1957)
    z, t = np.asarray(geopotential_height_m, float), np.asarray(temperature_k, float)
    known = np.isfinite(z) & np.isfinite(t)
    z, t, noise = z[known], t[known], np.nan_to_num(np.asarray(noise_k, float)[known])
    pressure = None if pressure_hpa is None else np.asarray(pressure_hpa, float)[known]
    runs = []
    for step_m in EVEN_STEPS_M:
        for repetition in range(repetitions):
            drawn = t + noise * random.standard_normal(len(t)) if repetition else t
            shift_m = step_m / 2 * (repetition % 2)
            even_z, even_t = even_levels(z - shift_m, drawn, step_m)
            even_z = even_z + shift_m
            runs.append(find_tropopauses(even_z, even_t, _log_between(even_z, z, pressure)))
    main = runs[0]
    firsts = np.array([run.levels[0].geopotential_height_m if run.levels else np.nan for run in runs])
    found = np.isfinite(firsts)
    if found.mean() < 0.5:
        return _none(found, main.reason or next(run.reason for run in runs if run.reason), main.floor)
    middle = firsts[found][np.argmin(np.abs(firsts[found] - np.median(firsts[found])))]
    near = found & (np.abs(firsts - middle) <= ONE_LEVEL_M)
    first, *further = runs[int(np.flatnonzero(near)[0])].levels
    hidden = _hidden(np.sort(z), first.geopotential_height_m)
    if hidden:
        low_km, high_km = (m / 1000.0 for m in hidden)
        reason = f"no temperature is known from {low_km:.1f} to {high_km:.1f} km, where it may be"
        return _none(found, reason, main.floor)
    rivals = firsts[found & ~near]
    around = firsts[near] - first.geopotential_height_m
    return Spread(
        first,
        float(np.hypot(np.sqrt(np.mean(around**2)), EVEN_STEPS_M[0] / np.sqrt(12.0))),
        float(near.mean()),
        float(np.median(rivals)) if len(rivals) else None,
        tuple((level, _share(level, runs)) for level in further),
        None,
        main.floor,
    )


def _none(found, reason, floor):
    return Spread(None, None, float(found.mean()), None, (), reason, floor)


def _share(level, runs):
    """The share of the repetitions that have this further tropopause too."""
    height_m = level.geopotential_height_m
    return float(
        np.mean([
            any(abs(other.geopotential_height_m - height_m) <= ONE_LEVEL_M for other in run.levels[1:])
            for run in runs
        ])
    )  # fmt: skip


def _hidden(z, level_m):
    """The gap of a dense profile in which a lower tropopause may hide than the one found, or None."""
    for low, high in gaps(z, GAP_M):
        if high > FLOOR_M and low < level_m and (high > level_m - DEPTH_M or high - low > WIDE_GAP_M):
            return low, high
    return None


def _log_between(at_m, height_m, pressure_hpa):
    """Pressures at heights, linear in their logarithm; None without any, NaN outside them."""
    if pressure_hpa is None or not np.isfinite(pressure_hpa).any():
        return None
    good = np.isfinite(pressure_hpa) & (pressure_hpa > 0)
    return np.exp(np.interp(at_m, height_m[good], np.log(pressure_hpa[good]), np.nan, np.nan))
