"""One height three ways: by satellites, by pressure in the standard atmosphere, by pressure in the flight's own
air.
"""

from dataclasses import dataclass

import numpy as np

from ground.analyse.runs import lengths, medians
from ground.physics.atmosphere import (
    GAS_CONSTANT_DRY_AIR_J_KG_K,
    STANDARD_GRAVITY_M_S2,
    geometric_height_m,
    geopotential_height_m,
    hypsometric_heights_m,
    pressure_height_m,
)
from ground.physics.moisture import saturation_vapour_pressure_pa, virtual_temperature_k

METRES_PER_KELVIN = GAS_CONSTANT_DRY_AIR_J_KG_K / STANDARD_GRAVITY_M_S2
ANCHOR_M = 500.0  # the lowest levels tie the integrated height to the fixes
STEP = 0.03  # thickness of a level in the logarithm of pressure, about 200 m
GAP = 0.3  # about 2 km
WHOLE = 0.9  # share of a level's samples that must have a fix, or else their middle is not the level's
BAND_M = 2000.0
# Relative humidity, as a share: where none was measured the middle of what air has, and how far the truth is from
# it.
USUAL_HUMIDITY, UNKNOWN_HUMIDITY, KNOWN_HUMIDITY = 0.5, 0.3, 0.05


@dataclass(frozen=True)
class HeightWays:
    """Levels upwards, float arrays (n,): pressure_hpa; virtual_k; moist_k, one standard deviation of the part of
    virtual_k that is from the humidity; gnss_m, above mean sea level, NaN where there is no fix; standard_m, in the
    standard atmosphere; hypsometric_m, integrated through the flight's own air from the lowest fixes. The last two
    are made geometric, so that all three can be compared.
    """

    pressure_hpa: np.ndarray
    virtual_k: np.ndarray
    moist_k: np.ndarray
    gnss_m: np.ndarray
    standard_m: np.ndarray
    hypsometric_m: np.ndarray

    def __len__(self):
        return len(self.pressure_hpa)

    def with_fix(self):
        """The levels that have a fix."""
        known = np.isfinite(self.gnss_m)
        return HeightWays(*[column[known] for column in vars(self).values()])


def height_ways(gnss_m, pressure_hpa, temperature_k, vapour_pressure_hpa=None) -> HeightWays:
    """Put the three heights beside each other.

    gnss_m, pressure_hpa, temperature_k: float arrays (n,) of samples or levels at the same times, in any order, NaN
    where missing. vapour_pressure_hpa: (n,), NaN where unknown, or None. A level is the median of the samples
    within STEP of the logarithm of pressure. Returns HeightWays; empty with fewer than three levels or without a
    fix. Source: hypsometric equation; standard atmosphere of ISO 2533.
    """
    gnss, pressure, kelvin = (np.asarray(part, float) for part in (gnss_m, pressure_hpa, temperature_k))
    vapour = np.full(len(gnss), np.nan) if vapour_pressure_hpa is None else np.asarray(vapour_pressure_hpa, float)
    known = (
        np.isfinite(pressure)
        & np.isfinite(kelvin)
        & (np.nan_to_num(pressure) > 0)
        & (np.nan_to_num(kelvin) > 100.0)
    )
    gnss, pressure, kelvin, vapour = gnss[known], pressure[known], kelvin[known], vapour[known]
    # Vapour is at most a twentieth of air that a balloon flies in; more is a wrong reading.
    saturated = np.minimum(saturation_vapour_pressure_pa(np.clip(kelvin, 200.0, 320.0)) / 100.0, 0.05 * pressure)
    told = np.isfinite(vapour)
    share = np.where(told, KNOWN_HUMIDITY, UNKNOWN_HUMIDITY)
    vapour = np.where(told, np.clip(vapour, 0.0, saturated * 1.1), USUAL_HUMIDITY * saturated)
    virtual = virtual_temperature_k(kelvin, vapour, pressure)
    moist = share * (virtual_temperature_k(kelvin, saturated, pressure) - kelvin)
    seat = np.floor(-np.log(pressure) / STEP).astype(int)
    # Across a wide gap the air is unknown: the longest part without one counts.
    numbers = np.unique(seat)
    kept = np.isin(seat, max(np.split(numbers, np.flatnonzero(np.diff(numbers) > GAP / STEP) + 1), key=len))
    gnss, pressure, virtual, moist, seat = (column[kept] for column in (gnss, pressure, virtual, moist, seat))
    order = np.argsort(seat, kind="stable")
    _, start = np.unique(seat[order], return_index=True)
    columns = [medians(column[order], start) for column in (pressure, virtual, moist)]
    with_fix = np.bincount(np.repeat(np.arange(len(start)), lengths(start, len(order))), np.isfinite(gnss[order]))
    fixed = with_fix >= WHOLE * lengths(start, len(order))
    gnss = np.where(fixed, medians(gnss[order], start), np.nan)
    if len(start) < 3 or not fixed.any():
        return HeightWays(*[np.zeros(0)] * 6)
    rise_m = hypsometric_heights_m(columns[0] * 100.0, columns[1])
    lowest = int(np.argmax(fixed))
    low = np.isfinite(gnss) & (rise_m <= rise_m[lowest] + ANCHOR_M)
    rise_m = rise_m + np.median((geopotential_height_m(gnss) - rise_m)[low])
    standard_m = geometric_height_m(pressure_height_m(columns[0] * 100.0))
    return HeightWays(*columns, gnss, standard_m, geometric_height_m(rise_m))


def height_bands(ways, band_m=BAND_M):
    """Give the median differences of each band of height.

    ways: HeightWays. band_m: m. Returns float arrays (b,): bottom_m, gnss less standard, gnss less hypsometric,
    hypsometric less standard, and levels: how many the band has.
    """
    ways = ways.with_fix()
    seat = np.floor(ways.gnss_m / band_m)
    order = np.argsort(seat, kind="stable")
    bands, start, levels = np.unique(seat[order], return_index=True, return_counts=True)
    parts = (ways.gnss_m - ways.standard_m, ways.gnss_m - ways.hypsometric_m, ways.hypsometric_m - ways.standard_m)
    return bands * band_m, *(medians(part[order], start) for part in parts), levels.astype(float)
