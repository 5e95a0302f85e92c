"""How far a height can be from the truth."""

import numpy as np

from ground.physics.atmosphere import standard_pressure_pa

# A receiver in the open, one standard deviation. GPS Standard Positioning Service Performance Standard, 5th edition
# (2020), promises 13 m in height and 8 m in place for 95 % of the time, global average (from memory).
# Common receivers do better: about these (common practice, no source).
FIX_HEIGHT_M = 4.5
FIX_PLACE_M = 2.5  # a component
# Heights of the standard atmosphere: weather moves the pressure at sea level by some 25 hPa, and the air is up to
# 15 % warmer or colder than the standard one at the extremes (common practice, no source).
SEA_LEVEL_M, WEATHER_SHARE = 100.0, 0.03
# Carried on from the nearest fix by pressure and the air's own temperature, which is off by about 2 K (common
# practice, no source); with the standard atmosphere's temperature it is the weather's share.
OWN_AIR_SHARE = 0.008
BAROMETER_HPA = 0.4  # what is left of a barometer's error; MS5611-01BA03 data sheet: +-1.5 hPa (25 degC, 750 hPa)
DRIFT_S, LEAST_WAY_M = 400.0, 500.0  # how long, and over how much, a drift from the fixes is looked at
DRIFT_SAFETY = 1.5  # it may go on faster
SCALE_HEIGHT_M = 7000.0  # of the atmosphere, about


def height_error_m(heights, time_s, by_fix, own_air=False):
    """Give one standard deviation of a height, m, a float.

    heights: Heights. time_s: on its axis. by_fix: True if the height is of the fixes, False if it is barometric.
    own_air: True if heights of the standard atmosphere were scaled by the air's own temperature.
    """
    if by_fix:
        return FIX_HEIGHT_M
    series = heights.barometric
    height_m = float(np.interp(time_s, series.time_s, series["height_m"])) if len(series) else 0.0
    if len(heights.gnss) == 0 or "tied to fix" not in series.source:
        share = OWN_AIR_SHARE if own_air else WEATHER_SHARE
        barometer_m = SCALE_HEIGHT_M * float(barometer_share(height_m))
        return float(np.sqrt(SEA_LEVEL_M**2 + (share * height_m) ** 2 + barometer_m**2))
    tie_s = _nearest(heights.gnss.time_s, time_s)
    tie_m = float(np.interp(tie_s, series.time_s, series["height_m"]))
    here_hpa, tie_hpa = np.interp([time_s, tie_s], series.time_s, series["pressure_hPa"])
    share = OWN_AIR_SHARE if "hypsometric" in series.source else WEATHER_SHARE
    # A thermometer that hangs makes the two drift apart, also where there are still fixes to see it by.
    ends_s = (tie_s - DRIFT_S, tie_s) if time_s >= tie_s else (tie_s, tie_s + DRIFT_S)
    drift_m, way_m = (np.diff(np.interp(ends_s, series.time_s, series[name]))[0] for name in ("tie_m", "height_m"))
    share = max(share, DRIFT_SAFETY * abs(drift_m) / max(abs(way_m), LEAST_WAY_M))
    barometer_m = SCALE_HEIGHT_M * BAROMETER_HPA * abs(1.0 / max(here_hpa, 1.0) - 1.0 / max(tie_hpa, 1.0))
    return float(np.sqrt(FIX_HEIGHT_M**2 + (share * (height_m - tie_m)) ** 2 + barometer_m**2))


def barometer_share(height_m):
    """Give what is left of a barometer's error, one standard deviation, as a share of the pressure there.

    height_m: number or array, m, in the standard atmosphere.
    """
    return 100.0 * BAROMETER_HPA / standard_pressure_pa(np.clip(height_m, 0.0, 60_000.0))


def _nearest(times_s, time_s):
    return float(times_s[int(np.argmin(np.abs(times_s - time_s)))])
