"""A continuous, piecewise straight line through the fixes of one boot: its knots, its fit, its uncertainty.

A crystal's rate depends on its temperature. A tuning fork's falls by 0.030 to 0.035 ppm/K2 on both sides of
25 degC (CTS, TF16 series data sheet 008-0416-0: -0.030; other makers' watch crystals: -0.035), which at -40 degC
is some 140 ppm: over a flight one straight line is wrong by tenths of a second.
"""

from dataclasses import dataclass

import numpy as np

PIECE_MS = 1_200_000.0  # a piece is about this long: 20 min, in which a rate changes by some tens of ppm
GAP_MS = 600_000.0  # without fixes for longer than this, a straight line bridges the gap
GAP_STEPS = 10.0  # or than so many usual intervals, if that is more
KNOT_FIXES = 5  # that a knot needs beside it
ENOUGH_FIXES = 20  # in a piece that is to have a slope of its own
LEAST_SPAN_MS = 600_000.0
ROUNDS = 12  # of reweighting
# One standard deviation of what a rate may do while nothing is seen of it: the effect of some 40 K by the above.
WANDER_PPM = 60.0


@dataclass(frozen=True)
class Pieces:
    """knots: float array (m,), x of the knots. level: float array (m,), y there. covariance: (m, m), of the level
    for noise of variance 1.
    """

    knots: np.ndarray
    level: np.ndarray
    covariance: np.ndarray

    def at(self, x):
        """y at x, float array (n,); beyond the knots the end pieces are drawn on."""
        piece = np.clip(np.searchsorted(self.knots, x, side="right") - 1, 0, len(self.knots) - 2)
        return self.level[piece] + (x - self.knots[piece]) * self.slopes()[piece]

    def slopes(self):
        """Slope of each piece, float array (m - 1,)."""
        return np.diff(self.level) / np.diff(self.knots)

    def slope_deviation(self, first, last):
        """Standard deviation of the mean slope between two knots (indices), for noise of variance 1."""
        c = self.covariance
        variance = c[first, first] + c[last, last] - 2.0 * c[first, last]
        return float(np.sqrt(max(variance, 0.0)) / (self.knots[last] - self.knots[first]))


def place_knots(x):
    """Give the knots for samples at x (float array (n,), in order, n > 0): at both ends, beside every gap, and
    about every PIECE_MS between, as far as there are samples enough. Returns a float array (m,).
    """
    knots = []
    for part in np.split(x, gaps(x) + 1):
        span = part[-1] - part[0]
        if len(part) >= ENOUGH_FIXES and span >= LEAST_SPAN_MS:
            most = min(round(span / PIECE_MS), len(part) // ENOUGH_FIXES)
            tries = (np.linspace(part[0], part[-1], pieces + 1) for pieces in range(max(most, 1), 0, -1))
            knots.append(next(edges for edges in tries if np.histogram(part, edges)[0].min() >= KNOT_FIXES))
        elif len(part) >= KNOT_FIXES:
            knots.append(np.median(part, keepdims=True))  # too few for a slope of their own
    return np.unique(np.concatenate(knots)) if knots else x[:0]


def gaps(x):
    """Give the indices of the samples at x (float array (n,), in order) that a gap follows."""
    steps = np.diff(x)
    usual = float(np.median(steps)) if len(steps) else 0.0
    return np.flatnonzero(steps > max(GAP_MS, GAP_STEPS * usual))


def fit_pieces(x, y, knots, weights=None):
    """Fit by least squares a continuous line that bends at the knots only.

    x, y: float arrays (n,). knots: float array (m,), m >= 2, ascending. weights: float array (n,) or None.
    Returns Pieces. Knots without samples beside them are tied by the pseudo-inverse, which never fails.
    """
    weights = np.ones(len(x)) if weights is None else weights
    piece = np.clip(np.searchsorted(knots, x, side="right") - 1, 0, len(knots) - 2)
    right = (x - knots[piece]) / np.diff(knots)[piece]  # share of the right knot; beyond the ends it is drawn on
    left = 1.0 - right
    size = len(knots)
    normal, moment = np.zeros((size, size)), np.zeros(size)
    for i, a in ((0, left), (1, right)):
        moment += np.bincount(piece + i, weights * a * y, size)
        for j, b in ((0, left), (1, right)):
            np.add.at(normal, (piece + i, piece + j), weights * a * b)
    covariance = np.linalg.pinv(normal, hermitian=True)
    return Pieces(knots, covariance @ moment, covariance)


def fit_robustly(x, y, knots, smallest):
    """As fit_pieces, but by least absolute deviations, so that a minority of wrong y does not bend it.

    smallest: deviations below this count alike. Source: iteratively reweighted least squares (P. J. Green,
    J. R. Statist. Soc. B 46 (1984), 149-192).
    """
    weights = np.ones(len(x))
    for _ in range(ROUNDS):
        pieces = fit_pieces(x, y, knots, weights)
        weights = 1.0 / np.maximum(np.abs(y - pieces.at(x)), smallest)
    return pieces


def correlation_factor(residual):
    """How many times larger standard deviations are than if the residuals (float array (n,), in order) were
    independent: sqrt((1 + r) / (1 - r)) with the correlation r of neighbours, at least 1 (source: the effective
    number of a first-order autoregressive series, H. J. Thiebaux and F. W. Zwiers, J. Clim. Appl. Meteorol. 23
    (1984), 800-811).
    """
    variance = float(np.mean(residual**2)) if len(residual) > 3 else 0.0
    if variance <= 0.0:
        return 1.0
    r = float(np.mean(residual[1:] * residual[:-1])) / variance
    return float(np.sqrt((1.0 + r) / (1.0 - r))) if 0.0 < r < 0.98 else (10.0 if r >= 0.98 else 1.0)
