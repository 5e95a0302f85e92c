"""The climb: its mean rate, and its rate band by band."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from ground.analyse.extremes import coverage
from ground.analyse.robust import NO_SLOPE, Slope, theil_sen

WANDER_M = 5.0  # how much two heights of fixes some minutes apart differ in error, each (own estimate)
RELEASE_S = 1.0  # a balloon gathers speed, and the crew walks with it, before a bend can be seen
LEAST_CLIMB_S = 60.0
BAND_SAMPLES = 10
BAND_SHARE = 0.6  # of a band's height must lie between its first and last sample


@dataclass(frozen=True)
class Climb:
    """What was found of a climb; speeds in m/s, heights in m, uncertainties expanded (k = 2).

    start_s, end_s: on the axis of time; rate_m_s, uncertainty_m_s: mean rate, height gained over time; method: how.
    line: Slope, Theil-Sen line through all heights of it. bottom_m, top_m, band_rate_m_s, band_uncertainty_m_s,
    band_samples: float arrays (n,), a value each band; NaN where the data do not show a band. reason: why there is
    no rate.
    """

    start_s: float | None = None
    end_s: float | None = None
    rate_m_s: float | None = None
    uncertainty_m_s: float | None = None
    method: str | None = None
    line: Slope = NO_SLOPE
    coverage: float | None = None
    samples: int = 0
    bottom_m: np.ndarray = field(default_factory=lambda: np.zeros(0))
    top_m: np.ndarray = field(default_factory=lambda: np.zeros(0))
    band_rate_m_s: np.ndarray = field(default_factory=lambda: np.zeros(0))
    band_uncertainty_m_s: np.ndarray = field(default_factory=lambda: np.zeros(0))
    band_samples: np.ndarray = field(default_factory=lambda: np.zeros(0))
    reason: str | None = None


def find_climb(time_s, height_m, start, end, rate_share) -> Climb:
    """Find the mean rate of a climb and the rate of each of its bands.

    time_s, height_m: float arrays (n,) of the samples between start and end, times not decreasing. start, end:
    (time_s, its standard deviation or None, height_m or None, standard deviation of that height): where they are
    known the mean is taken between them.
    rate_share: (n,), standard deviation of the rate at each sample, as a share: that of the heights' scale there.
    Method: height gained over time, with uncertainties of both ends; bands likewise, between medians at their ends.
    """
    if len(time_s) < BAND_SAMPLES or time_s[-1] - time_s[0] < LEAST_CLIMB_S:
        return Climb(reason="the data hold no climb")
    (start_s, start_dev_s, first_m, first_dev_m), (end_s, end_dev_s, last_m, last_dev_m) = start, end
    line = theil_sen(time_s - time_s[0], height_m)
    if not line.slope > 0:
        return Climb(reason="the data hold no climb")
    if None not in (start_dev_s, first_m, end_dev_s, last_m):
        rate = (last_m - first_m) / (end_s - start_s)
        spread_m = np.hypot(first_dev_m, last_dev_m)
        spread_s = np.hypot(np.hypot(start_dev_s, RELEASE_S), end_dev_s)
        uncertainty = 2.0 * np.hypot(spread_m, rate * spread_s) / (end_s - start_s)
        method = "height gained over the time that it took"
    else:
        start_s, end_s = float(time_s[0]), float(time_s[-1])
        rate = line.slope
        # What is not seen may have been climbed at another rate: as different as parts of what is seen.
        parts = [theil_sen(t, h).slope for t, h in _thirds(time_s, height_m)]
        rising = [part for part in parts if np.isfinite(part)]
        spread = float(np.ptp(rising)) / 2 if len(rising) > 1 else 0.3 * rate
        uncertainty = float(np.hypot(np.hypot(line.half_width, spread), 2 * float(np.mean(rate_share)) * rate))
        method = "Theil-Sen line through the heights that there are"
    bands = _bands(time_s, height_m, rate_share)
    return Climb(
        float(start_s), float(end_s), float(rate), float(uncertainty), method, line,
        coverage(time_s, start_s, end_s), len(time_s), *bands,
    )  # fmt: skip


def _thirds(time_s, height_m):
    edges = np.linspace(time_s[0], time_s[-1], 4)
    for first_s, last_s in pairwise(edges):
        part = (time_s >= first_s) & (time_s <= last_s)
        yield time_s[part], height_m[part]


def band_edges(low_m, high_m):
    """Give edges of height bands between two heights: every 2 km, in a low flight every 1 km or 250 m.

    Returns a float array (n,); the ends are low_m and high_m, and what is left of a band there is joined with
    its neighbour if it is less than half a band.
    """
    thick_m = band_thickness_m(high_m - low_m)
    inner = np.arange(np.ceil(low_m / thick_m) * thick_m, high_m, thick_m)
    inner = inner[(inner - low_m >= thick_m / 2) & (high_m - inner >= thick_m / 2)]
    return np.concatenate([[low_m], inner, [high_m]])


def band_thickness_m(span_m):
    """Give how thick the bands of a span of heights are, but for those at its ends."""
    return 2000.0 if span_m > 8000.0 else 1000.0 if span_m > 2500.0 else 250.0


def _bands(time_s, height_m, rate_share):
    edges = band_edges(float(np.min(height_m)), float(np.max(height_m)))
    rows = [_band(time_s, height_m, rate_share, *pair) for pair in pairwise(edges)]
    return edges[:-1], edges[1:], *(np.array(column, float) for column in zip(*rows))


def _band(time_s, height_m, rate_share, bottom_m, top_m):
    """(rate, expanded uncertainty, samples) of the heights in a band."""
    inside = np.flatnonzero((height_m >= bottom_m) & (height_m <= top_m))
    nothing = np.nan, np.nan, len(inside)
    if len(inside) < BAND_SAMPLES:
        return nothing
    t, h = time_s[inside], height_m[inside]
    # Medians of a few samples at both ends, so that no single wrong height counts.
    few = min(max(5, int(10.0 / max(float(np.median(np.diff(t))), 0.1))), len(t) // 3)
    (first_s, first_m), (last_s, last_m) = ((np.median(t[part]), np.median(h[part])) for part in (
        slice(0, few), slice(len(t) - few, None)
    ))  # fmt: skip
    span_s, gained_m = float(last_s - first_s), float(last_m - first_m)
    if not (span_s > 0 and gained_m >= BAND_SHARE * (top_m - bottom_m)):
        return nothing
    rate = gained_m / span_s
    unseen = max(1.0 - gained_m / (top_m - bottom_m) - 0.1, 0.0)
    share = float(np.mean(rate_share[inside]))
    uncertainty = 2.0 * np.sqrt((np.sqrt(2.0) * WANDER_M / span_s) ** 2 + ((share + 0.2 * unseen) * rate) ** 2)
    return rate, float(uncertainty), len(inside)


def spread_percent(climb):
    """Give (spread, its expanded uncertainty): the fastest band's rate less the slowest's, in percent of the
    median band's; (None, None) with fewer than two bands.
    """
    rates = climb.band_rate_m_s
    known = np.isfinite(rates)
    if known.sum() < 2:
        return None, None
    fastest, slowest = int(np.nanargmax(rates)), int(np.nanargmin(rates))
    middle = float(np.median(rates[known]))
    spread = float(rates[fastest] - rates[slowest])
    width = float(np.hypot(climb.band_uncertainty_m_s[fastest], climb.band_uncertainty_m_s[slowest]))
    return 100.0 * spread / middle, 100.0 * width / middle


def steadiness_word(percent):
    """Give the words for a spread of band rates in percent. The limits are this project's own: a steady
    balloon's rate changes by a fifth or so with height, as air thins and its drag changes (no source).
    """
    for limit, word in ((12.0, "Very steady"), (35.0, "Quite steady"), (70.0, "Not very steady")):
        if percent < limit:
            return word
    return "Not steady"


def tendency(climb):
    """Give 1 if the bands' rates grow with height, -1 if they shrink, 0 if they do neither surely.

    Method: Theil-Sen slope of rate on height, whose 95 % interval does not hold 0.
    """
    slope = theil_sen((climb.bottom_m + climb.top_m) / 2, climb.band_rate_m_s)
    if slope.samples < 4:
        return 0
    return 1 if slope.low > 0 else -1 if slope.high < 0 else 0
