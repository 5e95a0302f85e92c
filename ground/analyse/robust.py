"""Straight lines and means that some wrong samples do not move."""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

MOST_SAMPLES = 1000  # of which all pairs are made: half a million, 4 MB
PER_DEVIATION = 1.4826  # normal distribution: standard deviation over median absolute deviation


@dataclass(frozen=True)
class Slope:
    """slope: of y per x, NaN if there is none; low, high: its confidence interval; level: y at x = 0;
    samples: how many points it rests on.
    """

    slope: float
    low: float
    high: float
    level: float
    samples: int

    @property
    def half_width(self):
        return (self.high - self.low) / 2


NO_SLOPE = Slope(np.nan, np.nan, np.nan, np.nan, 0)


def theil_sen(x, y, confidence=0.95, most_samples=MOST_SAMPLES):
    """Fit a straight line by the median of the slopes of all pairs of points.

    x, y: float arrays (n,) in any order; points that are not finite are left out. confidence: of the interval.
    most_samples: of more points, so many are taken, evenly in the order of x, which bounds the memory.
    Returns a Slope; without two different x its numbers are NaN. The interval supposes that the errors of the
    points are independent; where neighbours err alike it is too narrow. Almost 29 % of the points may be wrong.
    Source: P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", Journal of the American
    Statistical Association 63 (1968) 1379-1389; the variance with ties in x is his equation 2.6.
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    known = np.isfinite(x) & np.isfinite(y)
    x, y = x[known], y[known]
    order = np.argsort(x, kind="stable")
    if len(order) > most_samples:
        order = order[np.linspace(0, len(order) - 1, most_samples).round().astype(int)]
    x, y = x[order], y[order]
    first, second = np.triu_indices(len(x), 1)
    run = x[second] - x[first]
    differ = run > 0
    slopes = np.sort((y[second] - y[first])[differ] / run[differ])
    if len(slopes) == 0:
        return NO_SLOPE
    slope = float(np.median(slopes))
    low, high = _interval(x, slopes, confidence)
    return Slope(slope, low, high, float(np.median(y) - slope * np.median(x)), len(x))


def _interval(x, slopes, confidence):
    """Order statistics of the sorted slopes, Sen's equation 3.1."""
    samples = len(x)
    _, ties = np.unique(x, return_counts=True)
    total = samples * (samples - 1) * (2 * samples + 5) - (ties * (ties - 1) * (2 * ties + 5)).sum()
    reach = NormalDist().inv_cdf((1 + confidence) / 2) * float(np.sqrt(total / 18))
    low = max(round((len(slopes) - reach) / 2) - 1, 0)
    high = min(round((len(slopes) + reach) / 2), len(slopes) - 1)
    return float(slopes[low]), float(slopes[high])


def local_slopes(x, y, width):
    """Give the slope around every point: the median of the slopes of all pairs among `width` neighbours.

    x, y: float arrays (n,), x not decreasing. width: odd number of points, at least 3.
    Returns float array (n,), NaN for the first and last width // 2 points and where x does not grow. In the middle
    of a parabola it is the slope of the parabola itself, as the pairs lie symmetrically.
    Method: Theil-Sen in a moving window.
    """
    found = np.full(len(x), np.nan)
    if len(x) < width:
        return found
    first, second = np.triu_indices(width, 1)
    xs, ys = (np.lib.stride_tricks.sliding_window_view(np.asarray(part, float), width) for part in (x, y))
    half = width // 2
    for start in range(0, len(xs), 4096):  # which bounds the memory
        part = slice(start, start + 4096)
        run = xs[part][:, second] - xs[part][:, first]
        rise = ys[part][:, second] - ys[part][:, first]
        grows = (run > 0).all(axis=1)
        slopes = np.median(rise[grows] / run[grows], axis=1)
        found[half + start : half + start + len(run)][grows] = slopes
    return found


def scatter(values):
    """Give the standard deviation of most values, by their median absolute deviation; NaN without any.

    values: float array (n,), NaN are left out. Source: F. R. Hampel, "The influence curve and its role in robust
    estimation", Journal of the American Statistical Association 69 (1974) 383-393.
    """
    values = np.asarray(values, float)
    values = values[np.isfinite(values)]
    if len(values) == 0:
        return float("nan")
    return PER_DEVIATION * float(np.median(np.abs(values - np.median(values))))


def in_steps(time_s, values, step_s):
    """Means of time and medians of values in steps of time, empty steps left out.

    time_s: float array (n,), not decreasing; values: float array (n,). Returns (time_s, values, counts).
    """
    if len(time_s) == 0:
        return np.zeros(0), np.zeros(0), np.zeros(0, int)
    step = np.floor((time_s - time_s[0]) / step_s + 1e-9)
    start = np.flatnonzero(np.concatenate([[True], np.diff(step) > 0]))
    count = np.diff(np.concatenate([start, [len(step)]]))
    means = np.add.reduceat(time_s, start) / count
    if count.max() == 1:
        return means, values[start], count
    # Within a step times and values change together, so the middle of both belongs together.
    order = np.lexsort((values, step))
    ranked = values[order]
    middles = (ranked[start + (count - 1) // 2] + ranked[start + count // 2]) / 2
    return means, middles, count
