"""Water vapour in air: saturation, relative humidity, dew point, virtual temperature.

Saturation is over liquid water also below 0 degC: that is what the WMO asks of radiosonde
humidity, so sounding files and capacitive sensors both speak of it.
Source: WMO-No. 8 (CIMO Guide), annex 4.B of chapter 4; edition from memory.
"""

import numpy as np

_MAGNUS_PA = 611.2
_MAGNUS_SLOPE = 17.62
_MAGNUS_CELSIUS = 243.12
# Molar mass of water over that of dry air, 18.0153 / 28.9644.
VAPOUR_MASS_RATIO = 0.62198


def saturation_vapour_pressure_pa(temperature_k):
    """Give the saturation vapour pressure over liquid water.

    temperature_k: scalar or array, K. Stated by the WMO for -45 to 60 degC; colder it is an
    extrapolation. Returns Pa, up to 0.3 % low at 20 to 30 degC; the pressure enhancement factor
    (0.5 % at most) is left out.
    """
    celsius = np.asarray(temperature_k, float) - 273.15
    return _MAGNUS_PA * np.exp(_MAGNUS_SLOPE * celsius / (_MAGNUS_CELSIUS + celsius))


def relative_humidity_percent(temperature_k, dew_point_k):
    """Give the relative humidity over water from temperature and dew point.

    Scalars or arrays in K that broadcast; NaN in gives NaN out. Returns percent, not limited to 100.
    """
    return 100.0 * saturation_vapour_pressure_pa(dew_point_k) / saturation_vapour_pressure_pa(temperature_k)


def dew_point_k(temperature_k, humidity_percent):
    """Give the dew point over water from temperature and relative humidity: the inverse of relative_humidity_percent.

    Scalars or arrays in K and percent that broadcast. Returns K; NaN where the humidity is not above zero.
    """
    humidity = np.asarray(humidity_percent, float)
    share = np.where(humidity > 0, humidity, np.nan) / 100.0
    logarithm = np.log(share * saturation_vapour_pressure_pa(temperature_k) / _MAGNUS_PA)
    return 273.15 + _MAGNUS_CELSIUS * logarithm / (_MAGNUS_SLOPE - logarithm)


def virtual_temperature_k(temperature_k, vapour_pressure_pa, pressure_pa):
    """Give the temperature at which dry air of the same pressure would be as dense.

    Scalars or arrays that broadcast, in K, Pa, Pa. Returns K.
    Source: ideal gas mixture, e.g. Wallace and Hobbs, Atmospheric Science, 2nd ed., eq. 3.16
    (edition and number from memory).
    """
    share = np.asarray(vapour_pressure_pa, float) / np.asarray(pressure_pa, float)
    return np.asarray(temperature_k, float) / (1.0 - share * (1.0 - VAPOUR_MASS_RATIO))
