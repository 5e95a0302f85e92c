"""What the differences between three ways to one height say about the barometer and the thermometer."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.height_ways import METRES_PER_KELVIN
from ground.physics.atmosphere import geopotential_height_m, hypsometric_heights_m

LEAST_LEVELS, LEAST_DEPTH = 15, 1.0  # levels, and logarithm of pressure from the lowest to the highest
ROUNDS, OUTLIER = 12, 3.0
# What is known before the fit, one standard deviation (common practice, no source): heights of a receiver, slowly
# wandering; an error of the thermometer that is the same everywhere, one that changes on the way, and more high up,
# where the sun warms a thermometer in thin air. Gravity's change with latitude, up to 0.26 %, which geopotential
# height in ISO 2533 leaves out, is within the first of them.
FIX_M, FIX_SCALE_M, FIX_WHITE_M = 4.0, 300.0, 1.0
SAME_K, LOCAL_K, SUN_K = 1.0, 0.4, 1.5
SUNNY_HPA = 100.0
TIE_M = 5.0
OFFSET_HPA = 10.0
NODES = 6  # at which the thermometer's changing error is free


@dataclass(frozen=True)
class SensorBias:
    """What barometer and thermometer read too much: offset_hpa; temperature_k, on average over the levels; each
    with its expanded uncertainty (k = 2). scatter_m: of the heights that the fit leaves. levels, top_m: how many
    and how high. reason: why there is none, the numbers then are NaN.
    """

    offset_hpa: float
    offset_uncertainty_hpa: float
    temperature_k: float
    temperature_uncertainty_k: float
    scatter_m: float
    levels: int
    top_m: float
    reason: str | None = None


def sensor_bias(ways) -> SensorBias:
    """Fit what barometer and thermometer read too much, so that hypsometric and fix heights agree.

    ways: HeightWays. Returns a SensorBias. An offset of 1 hPa is 8 m near the ground and 600 m and more at 30 km,
    while a warm thermometer's error grows evenly; so their shapes tell them apart.
    Method: Bayesian linear least squares (C. D. Rodgers, Inverse Methods for Atmospheric Sounding, 2000, eq. 4.5
    and 2.27, numbers from memory) with correlated errors of the fixes, repeated as the pressures are corrected;
    levels that stand out are left out, nearly, by weights that fall with the fourth power.
    """
    fixed = np.isfinite(ways.gnss_m)
    reached_hpa = ways.pressure_hpa[fixed]
    top_m = float(np.nanmax(ways.gnss_m)) if fixed.any() else np.nan
    if fixed.sum() < LEAST_LEVELS or np.log(reached_hpa[0] / reached_hpa[-1]) < LEAST_DEPTH:
        reason = "fixes, pressures and temperatures do not reach together through enough heights"
        return SensorBias(*[np.nan] * 5, int(fixed.sum()), top_m, reason)
    height_m = geopotential_height_m(ways.gnss_m[fixed])
    modes, prior_k = _thermometer_modes(ways)
    prior = np.diag(1.0 / np.concatenate([[TIE_M, OFFSET_HPA], prior_k]) ** 2)
    # Taken apart once, since only its scale changes from turn to turn: a sum of it and the identity is solved by
    # a division then.
    alike, turned = np.linalg.eigh(np.exp(-np.abs(height_m[:, None] - height_m) / FIX_SCALE_M))
    weight, offset, scale_m = np.ones(len(height_m)), 0.0, FIX_M
    for turn in range(ROUNDS):
        pressure = np.maximum(ways.pressure_hpa - offset, 0.3 * ways.pressure_hpa)
        rise_m = hypsometric_heights_m(pressure * 100.0, ways.virtual_k)
        # From a reading that is too high follows a height that is too low; from air said too warm, one too high.
        of_pressure = METRES_PER_KELVIN * _summed(ways.virtual_k, 1.0 / pressure)
        of_air = -METRES_PER_KELVIN * np.stack([_summed(mode, -np.log(pressure)) for mode in modes], 1)
        design = np.column_stack([np.ones(len(ways)), of_pressure, of_air])[fixed]
        wanted = height_m - (height_m[0] + rise_m[fixed] - rise_m[fixed][0]) + design[:, 1] * offset
        # Levels that are wrong must be known before neighbours may lean on each other.
        share = np.sqrt(weight)[:, None]
        columns = share * np.column_stack([design, wanted])
        if turn < ROUNDS // 2:
            solved = share * columns / (scale_m**2 + FIX_WHITE_M**2)
        else:
            solved = share * (turned @ (turned.T @ columns / (scale_m**2 * alike + FIX_WHITE_M**2)[:, None]))
        posterior = np.linalg.inv(design.T @ solved[:, :-1] + prior)
        factors = posterior @ (design.T @ solved[:, -1])
        left_m = wanted - design @ factors
        offset = float(np.clip(factors[1], -50.0, 50.0))
        found_m = 1.4826 * float(np.median(np.abs(left_m)))
        scale_m = max(FIX_M, 1.3 * found_m)
        weight = np.minimum(1.0, (OUTLIER * scale_m / np.maximum(np.abs(left_m), 1e-9)) ** 4)
    mean = np.concatenate([[0.0, 0.0], modes[:-1].mean(axis=1), [0.0]])
    spread_k = 2.0 * float(np.sqrt(mean @ posterior @ mean))
    spread_hpa = 2.0 * float(np.sqrt(posterior[1, 1]))
    return SensorBias(offset, spread_hpa, float(mean @ factors), spread_k, found_m, int(fixed.sum()), top_m)


def _summed(values, coordinate):
    """The integral of values over a coordinate from the first level, trapezoidal: float array (n,)."""
    return np.concatenate([[0.0], np.cumsum((values[1:] + values[:-1]) / 2 * np.diff(coordinate))])


def _thermometer_modes(ways):
    """Shapes of errors of the virtual temperature, float array (NODES + 2, n), and their sizes (NODES + 2,), K: the
    same everywhere; hats over the depth of the air, for one that changes on the way; and of the humidity, the last.
    """
    log_p = np.log(ways.pressure_hpa[0] / ways.pressure_hpa)
    nodes = np.linspace(0.0, log_p[-1], NODES)
    hats = np.array([np.interp(log_p, nodes, row) for row in np.eye(NODES)])
    at_hpa = ways.pressure_hpa[0] * np.exp(-nodes)
    sunny = np.clip(np.log(SUNNY_HPA / at_hpa) / np.log(10.0), 0.0, 1.0)
    modes = np.vstack([np.ones(len(ways)), hats, ways.moist_k])
    return modes, np.concatenate([[SAME_K], np.hypot(LOCAL_K, SUN_K * sunny), [1.0]])
