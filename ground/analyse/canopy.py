"""Which canopy a fall shows: how large, and whether it changed on the way, or whether there was none at all."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.robust import theil_sen

AFTER_BURST_S = 5.0
NEAR_GROUND_M = 25.0
BAND_SAMPLES = 8
LEAST_BALLISTIC_KG_M2 = 0.25  # light payloads on large parachutes have this (common practice, no source)


@dataclass(frozen=True)
class Ballistic:
    """A mass over drag area that a part of a fall shows: value and expanded uncertainty, kg/m2, and its samples.

    variation_percent: its standard deviation from minute to minute. changed_at_m: height at which it jumped, None
    if it did not; upper_value: above that, kg/m2. reason: why there is no value.
    """

    value: float | None = None
    uncertainty: float | None = None
    samples: int = 0
    variation_percent: float | None = None
    changed_at_m: float | None = None
    upper_value: float | None = None
    reason: str | None = None


def find_ballistic(curve, start_s, ground_m, density_share) -> Ballistic:
    """Find mass over drag area of a fall that begins at start_s, and whether it changed on the way.

    curve: FallCurve; ground_m: height of the ground, or None; density_share: standard deviation of the air
    density as a share of it. Returns a Ballistic; reason says why it has no value.
    Method: median of the minutes' medians. A change is a jump by a factor of 1.5 or more that lasts for at least
    60 s (or 30 s before it), by the split that leaves least absolute deviation.
    """
    used = (curve.time_s >= start_s + AFTER_BURST_S) & np.isfinite(curve.ballistic_kg_m2)
    if ground_m is not None:
        used &= curve.height_m >= ground_m + NEAR_GROUND_M
    part = curve.where(used)
    if len(part) < 3 * BAND_SAMPLES:
        return Ballistic(reason="too little of the fall is in the data")
    logs = np.log(part.ballistic_kg_m2)
    changed_s, steady, upper = _change(part, logs), part, None
    if changed_s is not None:
        steady = part.where(part.time_s > changed_s)
        upper = float(np.exp(np.median(logs[part.time_s <= changed_s])))
    value, uncertainty, variation = _level(steady, density_share)
    changed_at_m = None if changed_s is None else float(np.interp(changed_s, part.time_s, part.height_m))
    return Ballistic(value, uncertainty, len(steady), variation, changed_at_m, upper)


def _level(part, density_share):
    """(value, expanded uncertainty, variation in percent) of a part with one canopy."""
    minutes = np.floor((part.time_s - part.time_s[0]) / 60.0)
    logs = np.log(part.ballistic_kg_m2)
    parts = np.array(
        [np.median(logs[minutes == m]) for m in np.unique(minutes) if (minutes == m).sum() >= BAND_SAMPLES]
    )
    if len(parts) < 2:
        parts = np.array([np.median(half) for half in np.array_split(logs, 2)])
    middle = float(np.median(parts))
    deviation = float(np.std(parts, ddof=1))
    # The median of n values scatters 1.25 times as much as their mean.
    own = 1.25 * deviation / np.sqrt(len(parts))
    # All bands together may lie in rising or sinking air: 0.05 m/s of the speed (own estimate, no source).
    air = 2.0 * 0.05 / max(float(np.median(part.speed_m_s)), 1.0)
    share = 2.0 * float(np.sqrt(own**2 + air**2 + density_share**2))
    return float(np.exp(middle)), float(np.exp(middle)) * share, 100.0 * deviation


def _change(part, logs, factor=1.5, least_s=60.0):
    """Time of a lasting jump of the ballistic coefficient, or None."""
    time_s = part.time_s
    best = None
    spaced = np.abs(logs - np.median(logs)).sum()
    for index in range(BAND_SAMPLES, len(logs) - BAND_SAMPLES, max(len(logs) // 200, 1)):
        left, right = logs[:index], logs[index:]
        if time_s[index] - time_s[0] < least_s / 2 or time_s[-1] - time_s[index] < least_s:
            continue
        cost = np.abs(left - np.median(left)).sum() + np.abs(right - np.median(right)).sum()
        if best is None or cost < best[0]:
            best = cost, index
    if best is None or best[0] > 0.7 * spaced:
        return None
    index = best[1]
    around = max(int(np.searchsorted(time_s, time_s[index] - 120.0)), 0)
    beyond = int(np.searchsorted(time_s, time_s[index] + 120.0))
    jump = abs(np.median(logs[index:beyond]) - np.median(logs[around:index]))
    return float(time_s[index]) if jump >= np.log(factor) else None


def slow_part(curve):
    """Give the time on the axis at which a slow sinking, as of a leaking balloon, turns into a fall, or None.

    Method: the ballistic coefficient jumps up at least fourfold between the minute before and the half minute
    after, to one that a parachute can have; the earliest such jump.
    """
    value = np.log(np.where(curve.ballistic_kg_m2 > 0, curve.ballistic_kg_m2, np.nan))
    time_s = curve.time_s
    for index in np.flatnonzero(np.isfinite(value))[::5]:
        before = value[(time_s >= time_s[index] - 60.0) & (time_s < time_s[index])]
        after = value[(time_s > time_s[index] + 5.0) & (time_s <= time_s[index] + 35.0)]
        before, after = before[np.isfinite(before)], after[np.isfinite(after)]
        if len(before) < 10 or len(after) < 5 or np.median(after) < np.log(LEAST_BALLISTIC_KG_M2):
            continue
        if np.median(after) - np.median(before) > np.log(4.0):
            return float(time_s[index])
    return None


def looks_carried(curve, planned_kg_m2=None):
    """True if the speeds look like a leaking balloon's: over some kilometres they do not follow the density.

    Method: Theil-Sen slope of the logarithm of the ballistic coefficient on that of the density, which is 0 under
    a canopy and 1 at a constant speed; carried above 0.6. Also if most of it is below 0.4 of planned_kg_m2, the
    mission's mass over drag area, if that is given.
    """
    known = np.isfinite(curve.ballistic_kg_m2) & (curve.ballistic_kg_m2 > 0)
    if known.sum() < 30:
        return False
    if planned_kg_m2 is not None and np.median(curve.ballistic_kg_m2[known]) < 0.4 * planned_kg_m2:
        return True
    logs = np.log(curve.density_kg_m3[known])
    if np.ptp(logs) < 0.3:
        return False
    return bool(theil_sen(logs, np.log(curve.ballistic_kg_m2[known])).slope > 0.6)
