"""Where the tropopause of a sounding lies, from its levels: on purpose other code than the ground program's."""

import numpy as np

from ground.physics.atmosphere import geometric_height_m

_HIGHEST_PRESSURE_PA = 50000.0  # the rule begins here, so that no inversion near the ground is taken


def computed_tropopauses_m(sounding):
    """Geopotential heights of the first and of further tropopauses, m, list; empty if none is found.

    The WMO's definition of 1957: the lowest level at which the lapse rate falls to 2 K/km or less, if the average
    lapse rate from it to every level within the 2 km above is 2 K/km or less too; a further one may follow where
    the average from a level to all levels within the kilometre above is more than 3 K/km.
    """
    warm = ~np.isnan(sounding.temperature_k) & ~np.isnan(sounding.pressure_pa)
    height_m, kelvin = sounding.geopotential_height_m[warm], sounding.temperature_k[warm]
    pressure_pa = sounding.pressure_pa[warm]
    found, searching = [], True
    for index in range(len(height_m) - 1):
        if searching:
            high = pressure_pa[index] <= _HIGHEST_PRESSURE_PA
            if high and _averages_at_most(height_m, kelvin, index, 2000.0, 2.0):
                found.append(float(height_m[index]))
                searching = False
        else:
            searching = _averages_above(height_m, kelvin, index, 1000.0, 3.0)
    return found


def _averages(height_m, kelvin, index, within_m):
    """Average lapse rates, K/km, to every level up to so far above, and to the height just there; None near the top."""
    top_m = height_m[index] + within_m
    if height_m[-1] < top_m:
        return None
    above_m = np.append(height_m[(height_m > height_m[index]) & (height_m < top_m)], top_m)
    return (kelvin[index] - np.interp(above_m, height_m, kelvin)) / (above_m - height_m[index]) * 1000.0


def _averages_at_most(height_m, kelvin, index, within_m, most):
    averages = _averages(height_m, kelvin, index, within_m)
    return averages is not None and bool(np.all(averages <= most + 1e-9))


def _averages_above(height_m, kelvin, index, within_m, least):
    averages = _averages(height_m, kelvin, index, within_m)
    return averages is not None and bool(np.all(averages > least))


def tropopauses(sounding):
    """(geometric heights m, how they are known) of a sounding's tropopauses: as it reports them, else computed."""
    heights_m, how = sounding.tropopauses_m, "reported in the sounding"
    if not heights_m:
        heights_m, how = computed_tropopauses_m(sounding), "computed by the WMO's rule of 1957"
    return [float(geometric_height_m(height_m)) for height_m in heights_m], how
