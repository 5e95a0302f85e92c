"""How slow a thermometer was, from a flight: climb and fall go through the same air at different speeds."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.lag import FEWEST_IN_WINDOW, LEAST_WINDOW_S, lag_factor, local_lines, sample_noise

BIN_M = 200.0  # ascent and fall are compared in layers of this depth
BLOCK_BINS = 5  # what disagrees in one layer disagrees in its neighbours too, over about 1 km
FEWEST_BLOCKS = 6
LEAST_S, LONGEST_S = 0.5, 120.0
SHARE = 0.06  # what the lines' smoothing takes from the slope of a quick fall, found with known time constants
SAMPLING_S = 0.25  # heights and temperatures are not sampled at the same moment
MOST_FLAT = 0.4
LOOSE_S = 3.0  # an uncertainty up to this is worth saying, whatever the result


@dataclass(frozen=True)
class TimeConstant:
    """seconds: at sea-level density; uncertainty_s: expanded, k = 2; layers: how many were compared. Without a
    result seconds is None and reason says why.
    """

    seconds: float | None = None
    uncertainty_s: float | None = None
    layers: int = 0
    reason: str | None = None


def estimate_time_constant(up, down) -> TimeConstant:
    """Estimate a thermometer's time constant from a flight: the heights that it climbed through slowly it falls
    through fast, and the right time constant makes both profiles of corrected temperatures agree.

    up, down: (time_s, temperature, height_m, density_kg_m3) of the climb and of the fall, float arrays of one
    length each, times not decreasing. The air is taken to be the same on both ways, and the sun's heating too.
    In each layer T_up + tau f_up T'_up = T_down + tau f_down T'_down, f being the lag_factor: a straight line
    through the origin, least squares with Huber's weights. Its uncertainty is that of clusters of 1 km, or, if
    greater, what it would be off by if all of them were wrong the same way, as where the air differs for many
    kilometres. Source: P. J. Huber, Ann. Math. Stat. 35, 1964; K.-Y. Liang and S. L. Zeger, Biometrika 73, 1986
    (from memory).
    """
    seconds = LEAST_WINDOW_S / 2
    for _ in range(3):  # the lines' width depends on the result
        climb, fall = (_layers(*way, seconds) for way in (up, down))
        if climb is None or fall is None:
            return TimeConstant(reason="the climb or the fall has too few temperatures")
        both = np.intersect1d(climb[0], fall[0], return_indices=True)
        pairs = len(both[0])
        if pairs < FEWEST_BLOCKS * BLOCK_BINS / 2:
            return TimeConstant(layers=pairs, reason="climb and fall share too few heights with temperatures")
        x = fall[2][both[2]] - climb[2][both[1]]
        y = climb[1][both[1]] - fall[1][both[2]]
        seconds, spread_s = _slope(x, y, both[0])
        # Noise in x makes a slope too flat: errors in variables, e.g. W. A. Fuller, Measurement error models, 1987.
        noise = fall[3][both[2]] ** 2 + climb[3][both[1]] ** 2
        flat = min(float(np.nansum(noise) / max(np.nansum(x * x), 1e-12)), MOST_FLAT)
        spread_s = float(np.hypot(spread_s, flat * seconds))
        seconds /= 1.0 - flat
        if not -max(spread_s, LEAST_S) <= seconds < LONGEST_S:
            return TimeConstant(
                layers=pairs, reason="climb and fall differ in another way than a slow thermometer's"
            )
        seconds = max(seconds, 0.0)
    spread_s = float(np.sqrt(spread_s**2 + (SHARE * seconds) ** 2 + SAMPLING_S**2))
    if spread_s > max(seconds, LOOSE_S):
        return TimeConstant(layers=pairs, reason="climb and fall agree too loosely to show how slow it is")
    return TimeConstant(seconds, spread_s, pairs)


def _layers(time_s, temperature, height_m, density_kg_m3, seconds):
    """(number, temperature, factor times slope, noise of that) of each layer with samples, arrays."""
    if len(time_s) < 3 * FEWEST_IN_WINDOW:
        return None
    factor = lag_factor(density_kg_m3)
    window_s = np.maximum(factor * seconds, max(LEAST_WINDOW_S, 6 * float(np.median(np.diff(time_s)))))
    fitted, slope, _, of_slope = local_lines(time_s, temperature, window_s)
    good = np.isfinite(slope) & np.isfinite(height_m)
    if good.sum() < FEWEST_IN_WINDOW:
        return None
    number = np.floor(np.asarray(height_m)[good] / BIN_M).astype(int)
    order = np.argsort(number, kind="stable")
    layers, start = np.unique(number[order], return_index=True)
    noise = factor * of_slope * sample_noise(temperature)
    parts = [
        np.split(array[good][order], start[1:])
        for array in (fitted, factor * slope, height_m, noise, time_s, window_s)
    ]
    middle = (layers + 0.5) * BIN_M
    warmth = np.array([_at(h, v, m) for h, v, m in zip(parts[2], parts[0], middle, strict=True)])
    # Lines of overlapping windows share their noise; a slow climb has several windows in a layer.
    alike = [min(1.0, float(w.mean()) / max(np.ptp(t), 1e-3)) for t, w in zip(parts[4], parts[5], strict=True)]
    left = np.array([part.mean() for part in parts[3]]) * np.sqrt(alike)
    return layers, warmth, np.array([part.mean() for part in parts[1]]), left


def _at(height_m, value, middle_m):
    """The mean of a layer's values, moved to its middle along their line where they span enough of it."""
    away = height_m - height_m.mean()
    spread = (away**2).sum()
    if len(height_m) < 3 or np.ptp(height_m) < 0.4 * BIN_M:
        return np.nan if abs(height_m.mean() - middle_m) > 0.1 * BIN_M else value.mean()
    return value.mean() + (away * value).sum() / spread * (middle_m - height_m.mean())


def _slope(x, y, layer):
    """Slope of y over x through the origin, and its expanded uncertainty. layer: number of each, upwards."""
    good = np.isfinite(x) & np.isfinite(y)
    x, y, block = x[good], y[good], layer[good] // BLOCK_BINS
    blocks, block = np.unique(block, return_inverse=True)
    if len(blocks) < FEWEST_BLOCKS or not (x * x).sum() > 0:
        return np.nan, np.nan
    slope, weight = 0.0, np.ones(len(x))
    for _ in range(15):
        slope = float((weight * x * y).sum() / (weight * x * x).sum())
        left = y - slope * x
        scale = max(1.4826 * float(np.median(np.abs(left))), 1e-3)
        weight = np.minimum(1.0, 1.5 * scale / np.maximum(np.abs(left), 1e-9))
    square = (weight * x * x).sum()
    score = np.bincount(block, weight * x * left)
    cluster = np.sqrt((score**2).sum() * len(blocks) / (len(blocks) - 1)) / square
    means = np.bincount(block, left) / np.bincount(block)
    alike = np.sqrt(np.mean(means**2)) * (weight * np.abs(x)).sum() / square
    return slope, 2.0 * float(max(cluster, alike))
