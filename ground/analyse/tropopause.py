"""Tropopauses by the WMO's definition, in a profile of temperature over height.

Source: WMO (1957), "Meteorology: a three-dimensional science", WMO Bulletin 6, 134-138 (from memory; the words also
stand in the glossary of the US National Snow and Ice Data Center): (a) the first tropopause is the lowest level at
which the lapse rate decreases to 2 degC/km or less, provided that the average lapse rate between this level and all
higher levels within 2 km does not exceed 2 degC/km; (b) if above it the average lapse rate between any level and
all higher levels within 1 km exceeds 3 degC/km, a second tropopause is defined by the same criterion, within or
above that 1 km. A level below 500 hPa is not taken for one, as services do.
"""

from dataclasses import dataclass

import numpy as np

from ground.physics.atmosphere import geometric_height_m, pressure_height_m

LAPSE_K_M = 0.002
AGAIN_LAPSE_K_M = 0.003
DEPTH_M = 2000.0
AGAIN_DEPTH_M = 1000.0
FLOOR_HPA = 500.0
FLOOR_M = float(pressure_height_m(FLOOR_HPA * 100.0))  # 5574 m in the standard atmosphere
# Heights are given in whole metres and temperatures in tenths, which moves a rate over 2 km by more than this.
TOLERANCE_K_M = 1e-5
WIDEST_STEP_M = 3000.0  # levels further apart say nothing about 2 km; soundings have up to 2.5 km between them
FEWEST_LEVELS = 5


@dataclass(frozen=True)
class Level:
    """A tropopause, at a geopotential height in m above mean sea level. temperature_k: K. pressure_hpa: hPa, NaN if
    unknown. index: of the level in the profile as it was given.
    """

    geopotential_height_m: float
    temperature_k: float
    pressure_hpa: float
    index: int

    @property
    def height_m(self):
        """The geometric height above mean sea level, m."""
        return float(geometric_height_m(self.geopotential_height_m))


@dataclass(frozen=True)
class Tropopauses:
    """levels: tuple of Level, upwards. reason: why there is none, None if there is one. floor: 'pressure', or
    'standard atmosphere' where the pressure of 500 hPa was not known.
    """

    levels: tuple
    reason: str | None
    floor: str


def find_tropopauses(geopotential_height_m, temperature_k, pressure_hpa=None) -> Tropopauses:
    """Find the first and further tropopauses.

    geopotential_height_m: m above mean sea level, float array (n,), in any order; temperature_k: K, (n,);
    pressure_hpa: hPa, (n,), or None. NaN is left out; between levels the temperature is taken as linear in height.
    Without pressures the floor of 500 hPa is its height in the standard atmosphere, 5574 m.
    Source: WMO (1957), see above. Noisy data must be smoothed first, see profile.even_levels.
    """
    height = np.asarray(geopotential_height_m, float)
    celsius = np.asarray(temperature_k, float)
    pressure = np.full(height.shape, np.nan) if pressure_hpa is None else np.asarray(pressure_hpa, float)
    order = np.flatnonzero(np.isfinite(height) & np.isfinite(celsius))
    order = order[np.argsort(height[order], kind="stable")]
    order = order[np.diff(height[order], prepend=-np.inf) > 0]
    z, t, p = height[order], celsius[order], pressure[order]
    known = np.isfinite(p)
    by_pressure = known.sum() >= max(2, 0.5 * len(p))
    floor = "pressure" if by_pressure else "standard atmosphere"
    if by_pressure:  # the height of 500 hPa, so that a level without a pressure has its place too
        falling = np.argsort(-p[known], kind="stable")
        floor_m = np.interp(-np.log(FLOOR_HPA), -np.log(p[known][falling]), z[known][falling])
        above = np.where(known, p <= FLOOR_HPA, z >= floor_m)
    else:
        above = z >= FLOOR_M
    reason = _unfit(z, above)
    if reason:
        return Tropopauses((), reason, floor)
    found, start = [], int(np.argmax(above))
    while True:
        index = _next(z, t, start)
        if index is None:
            break
        found.append(Level(float(z[index]), float(t[index]), float(p[index]), int(order[index])))
        again = _again(z, t, index)
        if again is None:
            break
        start = again
    return Tropopauses(tuple(found), None if found else _no_level(z, t, int(np.argmax(above))), floor)


def _unfit(z, above):
    """Why these levels cannot answer, or None."""
    if len(z) < FEWEST_LEVELS:
        return "there are too few temperatures with a height"
    if not above.any() or z[-1] < z[np.argmax(above)] + DEPTH_M:
        return f"the temperatures end at {z[-1] / 1000:.1f} km, too low to show a tropopause"
    inside = z[max(int(np.argmax(above)) - 1, 0) :]
    if len(inside) < FEWEST_LEVELS or np.median(np.diff(inside)) > DEPTH_M:
        return "the temperatures lie too far apart in height"
    return None


def _no_level(z, t, start):
    """Why no tropopause was found in levels that could have shown one."""
    lapse = -np.diff(t[start:]) / np.diff(z[start:])
    late = lapse[z[start:-1] > z[-1] - DEPTH_M]
    if len(late) and late.min() <= LAPSE_K_M + TOLERANCE_K_M:
        return f"the temperatures end at {z[-1] / 1000:.1f} km, less than 2 km above where one may be"
    return f"up to {z[-1] / 1000:.1f} km, where the temperatures end, the air never stopped growing colder for 2 km"


def _next(z, t, start):
    """Index of the lowest level from start on that meets the definition, or None."""
    lapse = -np.diff(t) / np.diff(z)
    for index in start + np.flatnonzero(lapse[start:] <= LAPSE_K_M + TOLERANCE_K_M):
        if z[index] + DEPTH_M > z[-1]:
            return None
        if (
            z[index + 1] - z[index] <= WIDEST_STEP_M
            and (_rates(z, t, index, DEPTH_M) <= LAPSE_K_M + TOLERANCE_K_M).all()
        ):
            return int(index)
    return None


def _again(z, t, tropopause):
    """Index of the first level above a tropopause from which the air grows colder by more than 3 K/km on average to
    all higher levels within 1 km; None if there is none with data for that 1 km.
    """
    tops = z + AGAIN_DEPTH_M
    steep = (t - np.interp(tops, z, t)) / AGAIN_DEPTH_M > AGAIN_LAPSE_K_M
    steep &= (np.arange(len(z)) > tropopause) & (tops <= z[-1])
    for index in np.flatnonzero(steep):
        if (_rates(z, t, index, AGAIN_DEPTH_M) > AGAIN_LAPSE_K_M).all():
            return int(index)
    return None


def _rates(z, t, index, depth_m):
    """Average lapse rates, K/m, from a level to all higher ones within depth_m and to the point just there."""
    end = int(np.searchsorted(z, z[index] + depth_m, side="right"))
    top_m = z[index] + depth_m
    heights = np.append(z[index + 1 : end], top_m)
    warmth = np.append(t[index + 1 : end], np.interp(top_m, z, t))
    return -(warmth - t[index]) / (heights - z[index])
