"""What does not fit its neighbours: samples off the line through those before and after them."""

import numpy as np

from ground.analyse.runs import row_medians
from ground.analyse.series import running_median

SIDE = 4  # neighbours on each side
LEAST_RUN = 6  # a shorter run of samples has too few neighbours to judge by
GAP_S, GAP_SAMPLES = 60.0, 10  # a longer time without samples ends a run
SCALES = 6.0  # deviations that count as standing out
SCALE_SAMPLES = 31
_PAIRS = np.triu_indices(2 * SIDE, 1)


def fits_neighbours(time_s, parts, least):
    """True where a sample lies near the line through its neighbours.

    time_s: float array (n,), not decreasing. parts: float array (n,) or (n, k), the components of what is
    measured, in one unit. least: a smaller deviation never stands out. Returns a bool array (n,).
    A bend of the true course widens the neighbours' own scatter about their line, and with it what is
    allowed, so that the top of a flight is kept. Sources: H. Theil (1950) and P. K. Sen (1968), the line
    through the median of the slopes; F. R. Hampel's identifier (six scaled median absolute deviations).
    """
    parts = np.asarray(parts, float)
    parts = parts if parts.ndim == 2 else parts[:, None]
    kept = np.arange(len(time_s))
    for _ in range(2):  # a wrong neighbour hides others
        fits = _fits(time_s[kept], parts[kept], least)
        if fits.all():
            break
        kept = kept[fits]
    mask = np.zeros(len(time_s), bool)
    mask[kept] = True
    return mask


def _fits(time_s, parts, least):
    fits = np.ones(len(time_s), bool)
    if len(time_s) < LEAST_RUN:
        return fits
    steps_s = np.diff(time_s)
    breaks = np.flatnonzero(steps_s > max(GAP_S, GAP_SAMPLES * float(np.median(steps_s)))) + 1
    for run in np.split(np.arange(len(time_s)), breaks):
        if len(run) >= LEAST_RUN:
            away, scatter = _off_line(time_s[run], parts[run])
            scale = 1.4826 * np.maximum(scatter, running_median(scatter, SCALE_SAMPLES))
            fits[run] = away <= np.maximum(least, SCALES * scale)
    return fits


def _off_line(time_s, parts):
    """(distance of each sample from its neighbours' line, median distance of these from it), (n,) each."""
    n = len(time_s)
    width = min(2 * SIDE, n - 1)
    index = np.arange(n)
    first = np.clip(index - width // 2, 0, n - 1 - width)
    near = first[:, None] + np.arange(width)
    near += near >= index[:, None]  # without the sample itself
    when = time_s[near] - time_s[:, None]
    left, right = _PAIRS if width == 2 * SIDE else np.triu_indices(width, 1)
    run = when[:, right] - when[:, left]
    away, scatter = np.zeros(n), np.zeros((n, width))
    for part in parts.T:
        value = part[near]
        rise = value[:, right] - value[:, left]
        slope = row_medians(np.divide(rise, run, out=np.zeros_like(rise), where=run > 0))[:, None]
        level = row_medians(value - slope * when)
        away = np.hypot(away, part - level)
        scatter = np.hypot(scatter, value - slope * when - level[:, None])
    return away, row_medians(scatter)
