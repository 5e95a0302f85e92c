"""The air that the balloon flies through: a sounding, continued by the standard atmosphere."""

import numpy as np

from ground.physics.atmosphere import (
    GAS_CONSTANT_DRY_AIR_J_KG_K,
    STANDARD_GRAVITY_M_S2,
    air_density_kg_m3,
    geopotential_height_m,
    standard_temperature_k,
)
from ground.physics.moisture import (
    relative_humidity_percent,
    saturation_vapour_pressure_pa,
    virtual_temperature_k,
)

_LOWEST_M = -1000.0
_HIGHEST_M = 60000.0
_GRID_STEP_M = 20.0
# Over this height the sounding's last temperature turns into the standard one.
_BLEND_M = 5000.0


class Air:
    """Air as a function of geometric height, m above mean sea level, from -1 to 60 km.

    Every method takes a scalar or an array of heights and returns the like; beyond the range
    the value at its end holds. At the sounding's levels the temperature is the sounding's, linear
    in geopotential height between them. Pressure starts from the sounding's lowest level and is
    integrated hydrostatically, so it meets the sounding's other levels as closely as the
    sounding itself is hydrostatic (metres). Beyond the levels the temperature fades into the
    standard atmosphere of ISO 2533, the wind of the last level holds, and the relative humidity
    holds below and fades to zero above.
    """

    def __init__(self, sounding):
        """sounding: a Sounding with two or more levels that have pressure and temperature."""
        complete = ~np.isnan(sounding.pressure_pa) & ~np.isnan(sounding.temperature_k)
        heights_m = sounding.geopotential_height_m[complete]
        grid_m = np.arange(_LOWEST_M, _HIGHEST_M + _GRID_STEP_M, _GRID_STEP_M)
        # The levels are nodes themselves, so that an inversion keeps its sharp corners.
        self._node_m = np.union1d(grid_m, sounding.geopotential_height_m)
        self._temperature_k = self._blended_temperature_k(heights_m, sounding.temperature_k[complete])
        self._humidity_percent = self._blended_humidity_percent(sounding)
        anchor_pa = sounding.pressure_pa[complete][0]
        self._log_pressure, self._virtual_k = self._integrated(heights_m[0], anchor_pa)
        self._east_m_s, self._north_m_s = self._wind_m_s(sounding)

    def temperature_k(self, height_m):
        """Air temperature, K."""
        return self._at(height_m, self._temperature_k)

    def pressure_pa(self, height_m):
        """Air pressure, Pa."""
        return np.exp(self._at(height_m, self._log_pressure))

    def density_kg_m3(self, height_m):
        """Density of the moist air, kg/m3."""
        return air_density_kg_m3(self.pressure_pa(height_m), self._at(height_m, self._virtual_k))

    def relative_humidity_percent(self, height_m):
        """Relative humidity over liquid water, percent."""
        return self._at(height_m, self._humidity_percent)

    def wind_m_s(self, height_m):
        """Wind as (east, north): the velocity with which the air moves, m/s."""
        return self._at(height_m, self._east_m_s), self._at(height_m, self._north_m_s)

    def _at(self, height_m, values):
        return np.interp(geopotential_height_m(height_m), self._node_m, values)

    def _beyond(self, lowest_m, highest_m):
        """1 between the heights, falling smoothly to 0 over the blend's height outside them."""
        outside_m = np.maximum(self._node_m - highest_m, lowest_m - self._node_m)
        return 0.5 + 0.5 * np.cos(np.pi * np.clip(outside_m / _BLEND_M, 0.0, 1.0))

    def _blended_temperature_k(self, heights_m, temperature_k):
        # The sounding's departure from the standard is held at its end and faded out, so that
        # below a radiosonde's launch site the air still warms downwards at the standard rate.
        nodes_m = self._node_m
        inside = np.interp(nodes_m, heights_m, temperature_k)
        end_m = np.clip(nodes_m, heights_m[0], heights_m[-1])
        departure_k = inside - standard_temperature_k(end_m)
        outside = standard_temperature_k(nodes_m) + departure_k * self._beyond(heights_m[0], heights_m[-1])
        return np.where(end_m == nodes_m, inside, outside)

    def _blended_humidity_percent(self, sounding):
        humidity = sounding.relative_humidity_percent
        from_dew_point = relative_humidity_percent(sounding.temperature_k, sounding.dew_point_k)
        humidity = np.where(np.isnan(humidity), from_dew_point, humidity)
        known = ~np.isnan(humidity)
        if not known.any():
            return np.zeros(len(self._node_m))
        heights_m = sounding.geopotential_height_m[known]
        held = np.interp(self._node_m, heights_m, np.clip(humidity[known], 0.0, 100.0))
        return held * self._beyond(_LOWEST_M, heights_m[-1])

    def _integrated(self, anchor_m, anchor_pa):
        """Logarithm of pressure and virtual temperature at the nodes, from the level given."""
        temperature_k = self._temperature_k
        vapour_pa = self._humidity_percent / 100.0 * saturation_vapour_pressure_pa(temperature_k)
        virtual_k = temperature_k
        # Pressure needs the virtual temperature and that needs pressure, but only weakly: the
        # second round changes the pressure by less than 1e-5 of itself, the third by nothing.
        for _ in range(3):
            fall = STANDARD_GRAVITY_M_S2 / GAS_CONSTANT_DRY_AIR_J_KG_K / virtual_k
            steps = np.diff(self._node_m) * (fall[1:] + fall[:-1]) / 2
            log_pressure = -np.concatenate([[0.0], np.cumsum(steps)])
            log_pressure += np.log(anchor_pa) - np.interp(anchor_m, self._node_m, log_pressure)
            virtual_k = virtual_temperature_k(temperature_k, vapour_pa, np.exp(log_pressure))
        return log_pressure, virtual_k

    def _wind_m_s(self, sounding):
        known = ~np.isnan(sounding.wind_from_deg) & ~np.isnan(sounding.wind_speed_m_s)
        heights_m = sounding.geopotential_height_m[known]
        speed = sounding.wind_speed_m_s[known]
        towards = np.radians(sounding.wind_from_deg[known] + 180.0)
        east = np.interp(self._node_m, heights_m, speed * np.sin(towards))
        north = np.interp(self._node_m, heights_m, speed * np.cos(towards))
        return east, north
