"""Speeds of a fall that people ask for: band by band, the greatest, and the one at the ground."""

from itertools import pairwise

import numpy as np

from ground.analyse.canopy import BAND_SAMPLES, NEAR_GROUND_M
from ground.analyse.climb import band_edges
from ground.analyse.drag import settled_speed_m_s
from ground.analyse.fall_curve import WINDOW
from ground.analyse.robust import scatter
from ground.analyse.series import running_median
from ground.physics.atmosphere import gravity_m_s2

SMOOTH_S = 9.0
LONGEST_GAP_S = 10.0  # within a band
QUIET_M_S = 0.2  # noise of a speed that needs no further smoothing


def band_speeds(curve, ballistic_kg_m2, rate_share):
    """Give the bands of a fall, from the ground up: list of (bottom_m, top_m, mean speed, its expanded uncertainty,
    speed expected of this mass over drag area or None, samples); speeds in m/s.

    curve: FallCurve; rate_share: (n,), standard deviation of the speeds' scale. Method: means over the time in
    the band; with a gap in it, height lost over time.
    """
    if len(curve) < BAND_SAMPLES:
        return []
    rows = []
    edges = band_edges(float(curve.height_m.min()), float(curve.height_m.max()))
    for bottom_m, top_m in pairwise(edges):
        inside = (curve.height_m >= bottom_m) & (curve.height_m <= top_m)
        part = curve.where(inside)
        seen_m = float(np.ptp(part.height_m)) if len(part) else 0.0
        if len(part) < BAND_SAMPLES or seen_m < 0.6 * (top_m - bottom_m):
            continue
        span_s = float(part.time_s[-1] - part.time_s[0])
        # A gap would leave out the speeds within it, but not the way through it.
        whole = float(np.diff(part.time_s).max()) <= LONGEST_GAP_S
        mean = float(np.mean(part.speed_m_s)) if whole else seen_m / span_s
        # The ends of the band are known to some metres, single speeds to their noise, and what is not
        # seen of the band is as fast as half of what is.
        unseen = max(1.0 - seen_m / (top_m - bottom_m), 0.0)
        late = 1.0 * float(np.ptp(part.speed_m_s)) / span_s  # for times that are late by a second
        scale = float(np.mean(rate_share[inside])) * mean
        noise = np.nan_to_num(curve.noise_m_s) / np.sqrt(max(span_s / WINDOW, 1.0))
        deviation = np.sqrt(noise**2 + (5.0 / span_s) ** 2 + (0.2 * unseen * mean) ** 2 + late**2 + scale**2)
        expected = None
        if ballistic_kg_m2 is not None:
            settled = settled_speed_m_s(ballistic_kg_m2, part.density_kg_m3, gravity_m_s2(part.height_m))
            expected = float(np.nanmean(settled)) if np.isfinite(settled).any() else None
        rows.append((float(bottom_m), float(top_m), mean, 2.0 * float(deviation), expected, len(part)))
    return rows


def greatest_speed(curve, start_s):
    """Give (speed, its expanded uncertainty, time, height) where a fall is fastest; None without data.

    curve: FallCurve; start_s: begin of the fall. Method: greatest of the speeds; of noisy ones the greatest running
    median over 9 s, because the greatest of many noisy numbers is too great. The uncertainty is from their
    noise and from how much slopes flatten the peak, 3 % over 10 s to either side (by trials on simulated falls).
    """
    part = curve.where(curve.time_s >= start_s)
    if len(part) < 3:
        return None
    speeds = part.speed_m_s
    if not curve.noise_m_s < QUIET_M_S:
        spacing_s = max(float(np.median(np.diff(part.time_s))), 0.1)
        speeds = running_median(speeds, max(2 * int(SMOOTH_S / spacing_s / 2) + 1, 1))
    best = int(np.argmax(speeds))
    value = float(speeds[best])
    if not value > 0:
        return None
    flattened = 0.03 * value * (float(part.reach_s[best]) / 10.0) ** 2
    noise = np.nan_to_num(curve.noise_m_s, nan=0.5)
    uncertainty = 2.0 * float(np.sqrt(noise**2 + flattened**2 + 0.1**2 + (0.004 * value) ** 2))
    return value, uncertainty, float(part.time_s[best]), float(part.height_m[best])


def speed_at_ground(curve, ground_m, ground_density, reach_m=150.0):
    """Give (speed, expanded uncertainty, samples) of a fall at the ground; (None, None, 0) without data.

    curve: FallCurve; ground_m: height of the ground; ground_density: air density there, kg/m3.
    Method: mean of the speeds between 25 m and reach_m above the ground, each scaled by the square root of its
    density to that at the ground, which leaves out the farthest tenth on either side; uncertainty from the scatter
    over the lowest 1500 m, which is mostly rising and sinking air: what blows below 25 m is not known.
    """
    scaled = curve.speed_m_s * np.sqrt(curve.density_kg_m3 / ground_density)
    above_m = curve.height_m - ground_m
    low = (above_m >= NEAR_GROUND_M) & (above_m <= reach_m)
    if low.sum() < BAND_SAMPLES:
        return None, None, 0
    spread = max(scatter(scaled[(above_m >= NEAR_GROUND_M) & (above_m <= max(reach_m, 1500.0))]), 0.1)
    ranked = np.sort(scaled[low])
    cut = len(ranked) // 10
    # The farther up, the less the air there has to do with that below.
    share = min(0.6 + (reach_m - 150.0) / 500.0, 1.2)
    noise = np.nan_to_num(curve.noise_m_s, nan=0.3) / 2.0
    value = float(np.mean(ranked[cut : len(ranked) - cut]))
    return value, 2.0 * float(np.sqrt((share * spread) ** 2 + noise**2 + (0.01 * value) ** 2)), int(low.sum())
