"""The standard atmosphere, height conversions and the hypsometric equation.

Source: ISO 2533:1975 "Standard Atmosphere" (the same numbers as ICAO Doc 7488). Above 32 km the
layers are those of ISO 2533 and of the US Standard Atmosphere 1976, which agree up to 80 km. The
gas constant is ISO's, so pressures differ from the US 1976 tables by a few parts in a million.
"""

import numpy as np

STANDARD_GRAVITY_M_S2 = 9.80665  # ISO 2533, table 1
GAS_CONSTANT_DRY_AIR_J_KG_K = 287.05287  # ISO 2533, table 1
SEA_LEVEL_PRESSURE_PA = 101325.0  # ISO 2533, table 1
SEA_LEVEL_TEMPERATURE_K = 288.15  # ISO 2533, table 1
NOMINAL_EARTH_RADIUS_M = 6356766.0  # ISO 2533, 2.3

# Geopotential height of each layer's base and the temperature gradient in the layer (ISO 2533,
# table 4). The first layer is carried down to -5 km, as the tables of ISO 2533 addendum 2 do.
_BASE_HEIGHT_M = np.array([0.0, 11000.0, 20000.0, 32000.0, 47000.0, 51000.0, 71000.0])
_GRADIENT_K_M = np.array([-0.0065, 0.0, 0.001, 0.0028, 0.0, -0.0028, -0.002])
LOWEST_HEIGHT_M = -5000.0
HIGHEST_HEIGHT_M = 80000.0  # geopotential


def _layer_pressure_pa(height_m, base, base_temperature_k, base_pressure_pa):
    """Pressure at geopotential heights inside the layers whose numbers are in base."""
    gradient = _GRADIENT_K_M[base]
    difference = height_m - _BASE_HEIGHT_M[base]
    isothermal = gradient == 0.0
    exponent = -STANDARD_GRAVITY_M_S2 / (GAS_CONSTANT_DRY_AIR_J_KG_K * np.where(isothermal, 1.0, gradient))
    ratio = 1.0 + gradient * difference / base_temperature_k
    decay = STANDARD_GRAVITY_M_S2 * difference / (GAS_CONSTANT_DRY_AIR_J_KG_K * base_temperature_k)
    return base_pressure_pa * np.where(isothermal, np.exp(-decay), ratio**exponent)


def _bases():
    temperature = [SEA_LEVEL_TEMPERATURE_K]
    pressure = [SEA_LEVEL_PRESSURE_PA]
    for layer in range(len(_BASE_HEIGHT_M) - 1):
        top_m = _BASE_HEIGHT_M[layer + 1]
        pressure.append(float(_layer_pressure_pa(top_m, layer, temperature[layer], pressure[layer])))
        temperature.append(temperature[layer] + _GRADIENT_K_M[layer] * (top_m - _BASE_HEIGHT_M[layer]))
    return np.array(temperature), np.array(pressure)


_BASE_TEMPERATURE_K, _BASE_PRESSURE_PA = _bases()
# Where pressure_height_m stops answering, found from the definition of the range in height.
_HIGHEST_PRESSURE_PA = float(
    _layer_pressure_pa(LOWEST_HEIGHT_M, 0, SEA_LEVEL_TEMPERATURE_K, SEA_LEVEL_PRESSURE_PA)
)
_LOWEST_PRESSURE_PA = float(
    _layer_pressure_pa(HIGHEST_HEIGHT_M, 6, _BASE_TEMPERATURE_K[6], _BASE_PRESSURE_PA[6])
)


def _in_layers(geopotential_height_m):
    """Heights as floats, NaN outside the range, and the number of each one's layer."""
    height_m = np.asarray(geopotential_height_m, float)
    inside = (height_m >= LOWEST_HEIGHT_M) & (height_m <= HIGHEST_HEIGHT_M)
    height_m = np.where(inside, height_m, np.nan)
    base = np.searchsorted(_BASE_HEIGHT_M, np.where(inside, height_m, 0.0), side="right") - 1
    return height_m, np.maximum(base, 0)


def standard_temperature_k(geopotential_height_m):
    """Give the standard atmosphere's temperature.

    geopotential_height_m: scalar or array of any shape, m above mean sea level.
    Returns K, float or array of that shape; NaN outside -5 to 80 km and where the height is NaN.
    Source: ISO 2533:1975, table 4.
    """
    height_m, base = _in_layers(geopotential_height_m)
    return (_BASE_TEMPERATURE_K[base] + _GRADIENT_K_M[base] * (height_m - _BASE_HEIGHT_M[base]))[()]


def standard_pressure_pa(geopotential_height_m):
    """Give the standard atmosphere's pressure.

    geopotential_height_m: scalar or array of any shape, m above mean sea level.
    Returns Pa, float or array of that shape; NaN outside -5 to 80 km and where the height is NaN.
    Source: ISO 2533:1975, equations 12 and 13.
    """
    height_m, base = _in_layers(geopotential_height_m)
    return _layer_pressure_pa(height_m, base, _BASE_TEMPERATURE_K[base], _BASE_PRESSURE_PA[base])[()]


def standard_density_kg_m3(geopotential_height_m):
    """Give the standard atmosphere's density: arguments, range and NaN as standard_pressure_pa.

    Returns kg/m3. Source: ISO 2533:1975, equation 14 (ideal gas).
    """
    return air_density_kg_m3(
        standard_pressure_pa(geopotential_height_m), standard_temperature_k(geopotential_height_m)
    )


def pressure_height_m(pressure_pa):
    """Give the geopotential height at which the standard atmosphere has this pressure.

    pressure_pa: scalar or array of any shape, Pa.
    Returns m (what an altimeter set to 1013.25 hPa shows); NaN where the pressure is NaN, not
    positive, or beyond those of -5 to 80 km. It is the inverse of standard_pressure_pa.
    Source: ISO 2533:1975, equations 12 and 13 solved for the height.
    """
    pressure = np.asarray(pressure_pa, float)
    inside = (pressure >= _LOWEST_PRESSURE_PA) & (pressure <= _HIGHEST_PRESSURE_PA)
    pressure = np.where(inside, pressure, np.nan)
    # Base pressures fall with height, searchsorted wants them rising.
    safe_pressure = np.where(inside, pressure, SEA_LEVEL_PRESSURE_PA)
    base = np.searchsorted(-_BASE_PRESSURE_PA, -safe_pressure, side="right") - 1
    base = np.maximum(base, 0)
    gradient = _GRADIENT_K_M[base]
    isothermal = gradient == 0.0
    safe_gradient = np.where(isothermal, 1.0, gradient)
    log_ratio = np.log(pressure / _BASE_PRESSURE_PA[base])
    scale_m_k = GAS_CONSTANT_DRY_AIR_J_KG_K / STANDARD_GRAVITY_M_S2
    base_temperature_k = _BASE_TEMPERATURE_K[base]
    with_gradient = base_temperature_k / safe_gradient * np.expm1(-safe_gradient * scale_m_k * log_ratio)
    rise_m = np.where(isothermal, -scale_m_k * base_temperature_k * log_ratio, with_gradient)
    return (_BASE_HEIGHT_M[base] + rise_m)[()]


def air_density_kg_m3(pressure_pa, virtual_temperature_k):
    """Give the density of air as an ideal gas.

    pressure_pa in Pa and virtual_temperature_k in K (for dry air the temperature itself):
    scalars or arrays that broadcast. Returns kg/m3. Source: ISO 2533:1975, equation 14.
    """
    return np.asarray(pressure_pa) / (GAS_CONSTANT_DRY_AIR_J_KG_K * np.asarray(virtual_temperature_k))


def gravity_m_s2(geometric_height_m):
    """Give the acceleration of free fall at a geometric height (scalar or array, m).

    Returns m/s2. Source: ISO 2533:1975, 2.3, inverse square of the nominal earth radius.
    """
    ratio = NOMINAL_EARTH_RADIUS_M / (NOMINAL_EARTH_RADIUS_M + np.asarray(geometric_height_m, float))
    return STANDARD_GRAVITY_M_S2 * ratio**2


def geopotential_height_m(geometric_height_m):
    """Convert geometric height above mean sea level to geopotential height, both in m.

    Takes and returns a scalar or an array. Source: ISO 2533:1975, equation 8.
    """
    height_m = np.asarray(geometric_height_m, float)
    return (NOMINAL_EARTH_RADIUS_M * height_m / (NOMINAL_EARTH_RADIUS_M + height_m))[()]


def geometric_height_m(geopotential_height_m):
    """Convert geopotential height to geometric height above mean sea level, both in m.

    Takes and returns a scalar or an array. Source: ISO 2533:1975, equation 8 solved for height.
    """
    height_m = np.asarray(geopotential_height_m, float)
    return (NOMINAL_EARTH_RADIUS_M * height_m / (NOMINAL_EARTH_RADIUS_M - height_m))[()]


def hypsometric_heights_m(pressure_pa, virtual_temperature_k, first_height_m=0.0):
    """Integrate the hypsometric equation along a profile.

    pressure_pa: float array (n,), Pa, positive, in the order of the profile (either direction).
    virtual_temperature_k: float array (n,), K; the temperature itself if humidity is neglected.
    first_height_m: geopotential height of the first level, m.
    Returns geopotential heights, float array (n,), m. Between levels the virtual temperature is
    taken as linear in the logarithm of pressure, for which the result is exact.
    Raises ValueError when the shapes differ or a value is not a positive number; it names the
    first index at fault. Source: hypsometric equation, e.g. Wallace and Hobbs, Atmospheric
    Science, 2nd ed., eq. 3.29 (edition and number from memory).
    """
    pressure = np.asarray(pressure_pa, float)
    temperature = np.asarray(virtual_temperature_k, float)
    if pressure.ndim != 1 or pressure.shape != temperature.shape:
        raise ValueError(
            f"pressure_pa and virtual_temperature_k must be arrays of one length, "
            f"not of shapes {pressure.shape} and {temperature.shape}"
        )
    bad = ~((pressure > 0) & (temperature > 0))
    if bad.any():
        index = int(np.argmax(bad))
        raise ValueError(
            f"level {index} has pressure {pressure[index]} Pa and temperature {temperature[index]} K; "
            f"both must be positive numbers, so drop missing levels first"
        )
    mean_temperature = (temperature[1:] + temperature[:-1]) / 2
    scale_m = GAS_CONSTANT_DRY_AIR_J_KG_K / STANDARD_GRAVITY_M_S2 * mean_temperature
    return first_height_m + np.concatenate([[0.0], np.cumsum(-scale_m * np.diff(np.log(pressure)))])
