"""The coldest and the warmest levels of a profile of temperatures, and what its gaps may hide."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.profile import even_levels, gaps
from ground.analyse.series import running_median

EVEN_M = 100.0
STEEP_K_M = 0.008  # air seldom cools faster over a kilometre (common practice, no source)


def coldest_level(temperature_k):
    """Give (index, temperature) of a profile's coldest level, a single level that stands out not counting: the
    lowest running median of three.

    temperature_k: float array (n,), upwards, NaN allowed, but three or more are numbers.
    """
    known = np.flatnonzero(np.isfinite(temperature_k))
    smooth = running_median(np.asarray(temperature_k, float)[known], 3)
    best = int(np.argmin(smooth))
    return int(known[best]), float(smooth[best])


def colder_in_gaps(height_m, temperature_k, top_m, kelvin):
    """How much colder than this the air may have been where no temperature is known: if it had cooled by 8 K/km
    into a gap from both of its ends, and above the profile from one.

    height_m, temperature_k: float arrays (n,) of finite numbers, upwards, n >= 1. top_m: the flight's top.
    Returns (by how many kelvins, 0 or more, (lower, upper height) of that gap, or None).
    """
    worst, hole = 0.0, None
    for low, high in gaps(height_m, 3 * EVEN_M):
        ends = np.interp([low, high], height_m, temperature_k)
        colder = kelvin - (ends.mean() - STEEP_K_M * (high - low) / 2.0)
        if colder > worst:
            worst, hole = float(colder), (low, high)
    colder = kelvin - (temperature_k[-1] - STEEP_K_M * (top_m - height_m[-1]))
    if top_m - height_m[-1] > 3 * EVEN_M and colder > worst:
        worst, hole = float(colder), (float(height_m[-1]), float(top_m))
    return worst, hole


@dataclass(frozen=True)
class Rise:
    """From the coldest level, at low_m, to the warmest one above it, at high_m, the air is warmer by kelvin."""

    kelvin: float
    low_m: float
    high_m: float


def rise_above(height_m, temperature_k, from_m):
    """Find by how much the air grows warmer again above a height, in levels every 100 m.

    height_m, temperature_k: float arrays (n,), NaN allowed. Returns a Rise, or None with fewer than four levels.
    """
    z, t = even_levels(height_m, temperature_k, EVEN_M)
    above = z >= from_m - 2 * EVEN_M
    z, t = z[above], t[above]
    if len(z) < 4:
        return None
    low = int(np.argmin(t))
    high = low + int(np.argmax(t[low:]))
    return Rise(float(t[high] - t[low]), float(z[low]), float(z[high]))


def widest_hole(height_m, from_m, top_m):
    """Give (lower, upper height) of the widest gap between levels from one height up to another.

    height_m: float array (n,), finite, upwards. With no levels there it is all of it.
    """
    z = height_m[height_m >= from_m - EVEN_M]
    z = np.append(z if len(z) else from_m, max(top_m, z[-1] if len(z) else from_m))
    widest = int(np.argmax(np.diff(z)))
    return float(z[widest]), float(z[widest + 1])


def layer_medians(height_m, value, depth_m):
    """Give (lower edges, medians, numbers of samples) of the layers between multiples of depth_m that have samples.

    height_m, value: float arrays (n,), finite, in any order. Returns three arrays (k,), upwards.
    """
    number = np.floor(np.asarray(height_m, float) / depth_m)
    order = np.argsort(number, kind="stable")
    numbers, start = np.unique(number[order], return_index=True)
    parts = np.split(np.asarray(value, float)[order], start[1:]) if len(numbers) else []
    return numbers * depth_m, np.array([np.median(part) for part in parts]), np.array([len(part) for part in parts])
