"""Vertical physics of a balloon that loses gas: by a vent down to a float, or by a leak down to the ground."""

from dataclasses import dataclass
from math import exp

import numpy as np

from onboard.simulator.world.balloon import ADDED_MASS_SHARE, BalloonTables
from onboard.simulator.world.integrate import TABLE_STEP_M

VENT_TIME_CONSTANT_S = 60.0  # the vent closes as the free lift goes; a guess, no source
_LEAST_SHARE = 0.02


@dataclass(frozen=True)
class Vent:
    """Lets the gas go from start_s on, down to the share that carries balloon and payload and no more."""

    start_s: float
    end_share: float

    def gas_share(self, time_s):
        """Share of the gas that is still there."""
        return self.end_share + (1.0 - self.end_share) * exp((self.start_s - time_s) / VENT_TIME_CONSTANT_S)


@dataclass(frozen=True)
class Leak:
    """Lets out the same amount every second from start_s on."""

    start_s: float
    share_per_s: float

    def gas_share(self, time_s):
        """Share of the gas that is still there."""
        return max(1.0 - (time_s - self.start_s) * self.share_per_s, _LEAST_SHARE)


def floating_share(tables, height_m):
    """The share of its gas at which a balloon (BalloonTables) neither climbs nor sinks.

    Buoyant gas at the air's pressure and temperature displaces the same mass of air at every height, so this
    hardly depends on the height, and what floats so has no height that it returns to: gusts make it wander.
    """
    heights_m = tables.bottom_m + TABLE_STEP_M * np.arange(len(tables.displaced_kg))
    displaced_kg = float(np.interp(height_m, heights_m, tables.displaced_kg))
    return tables.fixed_kg / (displaced_kg - tables.gas_kg)


@dataclass(frozen=True)
class LosingGas:
    """The motion of such a balloon, for integrate().

    losing: a Vent or a Leak. canopy_kg_m: what the canopy adds to drag_kg_m while it sinks, array (n,) or None.
    The drag coefficients stay those of the climb with all its gas.
    """

    tables: BalloonTables
    losing: object
    canopy_kg_m: np.ndarray | None = None

    def acceleration(self):
        """A function of height m, speed relative to the air m/s and time s; m/s2."""
        tables, gas_share = self.tables, self.losing.gas_share
        displaced, gravity, drag = (
            values.tolist() for values in (tables.displaced_kg, tables.gravity_m_s2, tables.drag_kg_m)
        )
        canopy = [0.0] * len(drag) if self.canopy_kg_m is None else self.canopy_kg_m.tolist()
        last = len(drag) - 1

        def at(height, relative, time_s):
            index = min(max(round((height - tables.bottom_m) / TABLE_STEP_M), 0), last)
            share = gas_share(time_s)
            air_kg = displaced[index] * share
            mass_kg = tables.fixed_kg + tables.gas_kg * share
            area_kg_m = drag[index] * share ** (2.0 / 3.0) + (canopy[index] if relative < 0.0 else 0.0)
            force_n = (air_kg - mass_kg) * gravity[index] - area_kg_m * relative * abs(relative)
            return force_n / (mass_kg + ADDED_MASS_SHARE * air_kg)

        return at
