"""How the air's temperature changes with height: lapse rates, inversions, layers of one temperature, freezing
levels.

A lapse rate is positive where the air grows colder upwards, as the trade has it (WMO, International Meteorological
Vocabulary, WMO-No. 182, from memory).
"""

from dataclasses import dataclass

import numpy as np

from ground.analyse.lag import sample_noise

ZERO_DEGC_K = 273.15
LAYER_M = 1000.0
ENOUGH_SHARE = 0.7  # a hole over more than the rest of a layer, and a rate says nothing about it
FEWEST_LEVELS = 4
INVERSION_K = 1.0  # a smaller rise of temperature counts as the scatter of air and thermometer
AT_THE_GROUND_M = 150.0
ISOTHERMAL_K, ISOTHERMAL_M = 1.0, 1500.0  # as good as one temperature (our limits, no source)
TURN_M = 150.0  # so far a smoothing over 100 m may move a sharp turn


@dataclass(frozen=True)
class Layer:
    """from_m, to_m: heights, as given. rate_k_km: lapse rate in K/km, least squares; standard_k_km: its standard
    uncertainty from noise; levels: their number.
    """

    from_m: float
    to_m: float
    rate_k_km: float
    standard_k_km: float
    levels: int


@dataclass(frozen=True)
class Span:
    """A layer by its look. from_m, to_m: heights, as given; from_k, to_k: temperatures there."""

    from_m: float
    to_m: float
    from_k: float
    to_k: float

    @property
    def rise_k(self):
        return self.to_k - self.from_k


def fit_layer(height_m, temperature_k, noise_k, from_m, to_m, correlation_m=0.0):
    """Fit the lapse rate between two heights: a straight line, least squares, in which each level counts for the
    part of the layer that is nearest to it, so that it does not matter on which side of an edge one lies.

    height_m (n,) in m, temperature_k (n,) and noise_k (n,), its standard uncertainty, in K; NaN is left out.
    correlation_m: the noise of levels nearer than this is alike (after a smoothing); 0: none is.
    Returns a Layer, or None if the levels are fewer than four, or lack for more than 30 % of the layer in a row.
    Source: linear regression, its uncertainty from that of the points (JCGM 100:2008, 5.1 and H.3).
    """
    height_m, temperature_k = np.asarray(height_m, float), np.asarray(temperature_k, float)
    noise_k = np.broadcast_to(np.asarray(noise_k, float), height_m.shape)
    order = np.flatnonzero(np.isfinite(height_m) & np.isfinite(temperature_k))
    order = order[np.argsort(height_m[order], kind="stable")]
    weight = _nearest_part(height_m[order], from_m, to_m)
    order, weight = order[weight > 0], weight[weight > 0]
    z, t, noise = height_m[order], temperature_k[order], np.nan_to_num(noise_k[order])
    inside = z[(z >= from_m) & (z <= to_m)]
    if len(inside) < FEWEST_LEVELS:
        return None
    if np.diff(np.concatenate([[from_m], inside, [to_m]])).max() > (1.0 - ENOUGH_SHARE) * (to_m - from_m):
        return None
    noise = np.maximum(noise, np.nan_to_num(sample_noise(t)))  # where neighbours differ more than their noise says
    total = weight.sum()
    away = z / 1000.0 - (weight * z).sum() / total / 1000.0
    square = (weight * away**2).sum()
    if not square > 0:
        return None
    slope = (weight * away * t).sum() / square
    alike = max(correlation_m / (np.ptp(z) / (len(z) - 1)), 1.0)  # so many levels count as one
    standard = np.sqrt(((weight * away * noise) ** 2).sum() * alike) / square
    return Layer(float(from_m), float(to_m), float(-slope), float(standard), len(inside))


def _nearest_part(height_m, from_m, to_m):
    """How many metres of a layer are nearest to each level; height_m: (n,), upwards."""
    middles = (height_m[1:] + height_m[:-1]) / 2.0
    edges = np.clip(np.concatenate([[from_m], middles, [to_m]]), from_m, to_m)
    return np.diff(edges) if len(height_m) else np.zeros(0)


def fixed_layers(height_m, temperature_k, noise_k, depth_m=LAYER_M, correlation_m=0.0):
    """Fit the lapse rate in each layer between multiples of depth_m; as fit_layer. Returns a list of Layer,
    upwards.
    """
    height_m = np.asarray(height_m, float)
    known = np.isfinite(height_m) & np.isfinite(np.asarray(temperature_k, float))
    if not known.any():
        return []
    low, high = np.floor(np.min(height_m[known]) / depth_m), np.ceil(np.max(height_m[known]) / depth_m)
    edges = np.arange(low, high + 0.5) * depth_m
    fits = [
        fit_layer(height_m, temperature_k, noise_k, start, end, correlation_m)
        for start, end in zip(edges[:-1], edges[1:], strict=True)
    ]
    return [layer for layer in fits if layer is not None]


def freezing_levels(height_m, temperature_k, zero_k=ZERO_DEGC_K):
    """Find the heights at which a profile passes 0 degC, linear between its levels.

    height_m: float array (n,), upwards; temperature_k: (n,), smoothed; NaN is left out.
    Returns (heights, rates in K/km there, warmer above positive), float arrays (k,), upwards.
    """
    height_m, excess = np.asarray(height_m, float), np.asarray(temperature_k, float) - zero_k
    known = np.isfinite(height_m) & np.isfinite(excess)
    z, x = height_m[known], excess[known]
    if len(z) < 2:
        return np.zeros(0), np.zeros(0)
    below = np.flatnonzero((x[:-1] > 0) != (x[1:] > 0))
    rate = (x[below + 1] - x[below]) / (z[below + 1] - z[below])
    return z[below] - x[below] / rate, 1000.0 * rate


def inversions(height_m, temperature_k, least_k=INVERSION_K):
    """Find the layers in which the air grows warmer upwards by least_k or more, a smaller dip between counting as
    nothing: from each low turning point to the next high one.

    height_m: float array (n,), upwards; temperature_k: (n,), smoothed; NaN is left out. Returns a list of Span.
    """
    known = np.isfinite(height_m) & np.isfinite(temperature_k)
    z, t = np.asarray(height_m, float)[known], np.asarray(temperature_k, float)[known]
    found, low, high = [], 0, 0
    for i in range(1, len(z)):
        if high == low:  # going down: wait for a rise
            if t[i] < t[low]:
                low = high = i
            elif t[i] >= t[low] + least_k:
                high = i
        elif t[i] >= t[high]:
            high = i
        elif t[i] <= t[high] - least_k:
            found.append(_span(z, t, low, high))
            low = high = i
    if high > low:
        found.append(_span(z, t, low, high))
    return found


def sharpened(span, height_m, temperature_k, reach_m=TURN_M):
    """Move the ends of an inversion to the coldest and the warmest level of the unsmoothed profile near them.

    span: Span of a smoothed profile. height_m, temperature_k: float arrays (n,), NaN allowed. Returns a Span.
    """
    ends = []
    for at_m, sign in ((span.from_m, 1.0), (span.to_m, -1.0)):
        near = np.flatnonzero((np.abs(height_m - at_m) <= reach_m) & np.isfinite(temperature_k))
        ends.append(near[np.argmin(sign * temperature_k[near])] if len(near) else None)
    low, high = ends
    if low is None or high is None or not height_m[high] > height_m[low]:
        return span
    return Span(float(height_m[low]), float(height_m[high]), float(temperature_k[low]), float(temperature_k[high]))


def isothermal_layers(height_m, temperature_k, within_k=ISOTHERMAL_K, least_m=ISOTHERMAL_M):
    """Find the deepest layers in which the temperature stays within so many kelvins, at least so many metres deep.

    Arguments as inversions. Returns a list of Span, upwards, that do not overlap.
    """
    known = np.isfinite(height_m) & np.isfinite(temperature_k)
    z, t = np.asarray(height_m, float)[known], np.asarray(temperature_k, float)[known]
    ends = []
    for start in range(len(z)):
        low = np.minimum.accumulate(t[start:])
        high = np.maximum.accumulate(t[start:])
        end = start + int(np.searchsorted(high - low, within_k, side="right")) - 1
        if z[end] - z[start] >= least_m:
            ends.append((z[end] - z[start], start, end))
    taken, found = np.zeros(len(z), bool), []
    for _, start, end in sorted(ends, key=lambda item: -item[0]):
        if not taken[start : end + 1].any():
            taken[start : end + 1] = True
            found.append((start, end))
    return [_span(z, t, start, end) for start, end in sorted(found)]


def _span(z, t, low, high):
    return Span(float(z[low]), float(z[high]), float(t[low]), float(t[high]))
