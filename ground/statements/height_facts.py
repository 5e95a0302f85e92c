"""Three ways to one height, of a flight, and what is known of its barometer."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.height_ways import HeightWays, height_ways
from ground.analyse.heights import covered
from ground.analyse.sensor_bias import SensorBias, sensor_bias
from ground.analyse.winds import standing
from ground.physics.moisture import saturation_vapour_pressure_pa
from ground.statements.temperature import find_profile

NEAR_S, FIX_GAP_S, GAP_S = 5.0, 15.0, 60.0
STILL_S = 10.0  # a barometer that says exactly the same for longer, on a moving payload, stands still
# Chip -> name, lowest pressure that it is rated for (hPa), and a limit of its error (hPa): data sheets
# MS5611-01BA03 (10 to 1200 mbar; +-1.5 mbar at 25 degC and 750 mbar) and BST-BMP280-DS001 (300 to 1100 hPa;
# typically +-1 hPa, so twice that). Colder they may be worse.
CHIPS = {"ms5611": ("MS5611", 10.0, 1.5), "bmp280": ("BMP280", 300.0, 2.0)}
UNKNOWN_CHIP = ("barometer", 0.0, 3.0)


@dataclass(frozen=True)
class ThreeHeights:
    """ways: HeightWays; bias: SensorBias; start_s, end_s: from when to when on the axis the data are (NaN without).
    """

    ways: HeightWays
    bias: SensorBias
    start_s: float
    end_s: float


def find_heights(case) -> ThreeHeights:
    """Find the three heights of a Case and fit its sensors; use it as case.once(find_heights)."""
    profile, gnss, pressure = case.once(find_profile), case.heights.gnss, moving_pressures(case)
    known = profile.known() & np.isfinite(profile.time_s) if len(profile) else np.zeros(0, bool)
    air_s, air_k = (column[known] for column in (profile.time_s, profile.temperature_k))
    order = np.argsort(air_s, kind="stable")
    air_s, air_k = air_s[order], air_k[order]
    gnss = gnss.where(~standing(gnss["height_m"], gnss["height_m"]))
    pressure = pressure.where(covered(air_s, pressure.time_s, GAP_S))
    if len(gnss) == 0 or len(pressure) == 0:
        nothing = np.zeros(0)
        ways = height_ways(nothing, nothing, nothing)
        return ThreeHeights(ways, sensor_bias(ways), np.nan, np.nan)
    time_s = pressure.time_s
    fix_m = np.where(
        covered(gnss.time_s, time_s, FIX_GAP_S), np.interp(time_s, gnss.time_s, gnss["height_m"]), np.nan
    )
    kelvin = np.interp(time_s, air_s, air_k)
    ways = height_ways(fix_m, pressure["pressure_hPa"], kelvin, _vapour_hpa(case, time_s))
    return ThreeHeights(ways, sensor_bias(ways), float(time_s[0]), float(time_s[-1]))


def moving_pressures(case):
    """Give the pressures of the flight without those of a barometer that stands still."""
    pressure = case.heights.pressure.between(case.window.start_s, case.window.end_s)
    pressure = pressure.where(pressure["pressure_hPa"] > 0) if len(pressure) else pressure
    if len(pressure) < 3:
        return pressure
    new = np.concatenate([[True], np.diff(pressure["pressure_hPa"]) != 0])
    run = np.cumsum(new) - 1
    first = np.flatnonzero(new)
    last = np.concatenate([first[1:], [len(new)]]) - 1
    return pressure.where((pressure.time_s[last] - pressure.time_s[first] <= STILL_S)[run])


def _vapour_hpa(case, time_s):
    """Vapour pressure at times, hPa; NaN where the humidity chip says nothing that can be used."""
    names = ("relative_humidity_percent", "humidity_chip_temperature_degC")
    air = case.timeline.series("air", names)
    air = air.where((air[names[0]] >= 0) & (air[names[0]] <= 105) & (air[names[1]] > -40) & (air[names[1]] < 60))
    if len(air) == 0:
        return None
    vapour = air[names[0]] / 100.0 * saturation_vapour_pressure_pa(air[names[1]] + 273.15) / 100.0
    return np.where(covered(air.time_s, time_s, NEAR_S), np.interp(time_s, air.time_s, vapour), np.nan)


def chip_of(case):
    """Give (name, lowest pressure that it is rated for, limit of its error) of the barometer."""
    return CHIPS.get(case.flight.sensors.get("barometer", ("",))[0], UNKNOWN_CHIP)


def rating_caveats(case, lowest_hpa):
    """Say that it was used outside what it is rated for, a line, or none."""
    name, rated_hpa, _ = chip_of(case)
    if lowest_hpa < rated_hpa:
        return [
            f"its maker rates the {name} down to {rated_hpa:.0f} hPa only, and it went down to {lowest_hpa:.1f} hPa"
        ]
    return []
