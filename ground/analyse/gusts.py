"""Gusts: how much the wind changes within a layer, and what that does to the mean of one passage."""

import numpy as np

from ground.analyse.runs import lengths, medians

# Gusts that one passage through a layer happens upon are not the layer's wind. They are correlated over this time
# (common practice, no source), and a curve through one passage hides part of them.
GUST_TIME_S = 20.0
GUST_BLOCK_S = 10.0
HIDDEN_FACTOR = 2.0
USUAL_GUST_M_S = 0.8  # where no layer is long enough to show its gusts (common practice, no source)
LONGEST_RUN_S = 86_400.0
ENOUGH = 6  # runs that show their gusts


def gusts_m_s(time_s, left_m, start):
    """Give the scatter of the velocity about the fits within runs, (2 r,); NaN where a run is too short.

    time_s: float array (n,), not decreasing within a run. left_m: float array (2, n), what the fits leave of east
    and north. start: int array (r,), where each run begins.
    """
    count = lengths(start, len(time_s))
    since_s = time_s - np.repeat(time_s[start], count)
    length_s = since_s[start + count - 1]
    # A receiver's date can jump by years, and a run with such a hole in it shows no gusts.
    fits = (length_s >= 5 * GUST_BLOCK_S) & (length_s <= LONGEST_RUN_S)
    long_enough = np.flatnonzero(fits & (count >= 12))
    # One axis on which the layers lie behind each other, so that one interpolation serves them all.
    apart_s = float(length_s.max(initial=0.0)) + 1.0
    axis = since_s + apart_s * np.repeat(np.arange(len(start)), count)
    blocks = [np.arange(0.0, length_s[layer] + 1e-9, GUST_BLOCK_S) + apart_s * layer for layer in long_enough]
    if not blocks:
        return np.full(2 * len(start), np.nan)
    edges = np.concatenate(blocks)
    first = np.cumsum([0, *map(len, blocks[:-1])])
    found = np.full((2, len(start)), np.nan)
    for row, left in zip(found, left_m, strict=True):
        speeds = np.diff(np.interp(edges, axis, left), append=np.nan) / GUST_BLOCK_S
        speeds[first[1:] - 1] = np.nan  # from one layer to the next
        row[long_enough] = 1.4826 * medians(np.abs(speeds), first)
    return found.ravel()


def usual_gust_m_s(scatters_m_s, least_m_s=None):
    """Give one number for all runs of a flight. scatters_m_s: from gusts_m_s; least_m_s: from another part of it.
    """
    known = scatters_m_s[np.isfinite(scatters_m_s)]
    if len(known) < ENOUGH:
        return least_m_s or USUAL_GUST_M_S
    return max(HIDDEN_FACTOR * float(np.sqrt(np.median(known**2))), least_m_s or 0.0)


def share_of_mean(length_s):
    """Give the variance of the mean over a time, as a share of the variance, if correlation falls over GUST_TIME_S.
    """
    x = np.maximum(length_s, 0.1) / GUST_TIME_S
    return 2.0 / x * (1.0 - (1.0 - np.exp(-x)) / x)
