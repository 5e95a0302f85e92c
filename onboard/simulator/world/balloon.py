"""Vertical physics: a latex balloon that climbs and bursts, a payload that falls.

Both parts have the same form. With the speed relative to the air v, positive upwards,

    acceleration = lift(height) - resistance(height) * v * |v|

so the flight needs two tables of height for each part, and one integrator (integrate.py) serves both.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from ground.physics.atmosphere import gravity_m_s2
from onboard.simulator.world.integrate import TABLE_STEP_M, FlightError, Motion, table_heights_m

GAS_CONSTANT_J_MOL_K = 8.314462618  # CODATA 2018
MOLAR_MASS_KG_MOL = {"helium": 4.002602e-3, "hydrogen": 2.01588e-3}  # IUPAC standard atomic weights
# A sphere that accelerates in a fluid carries along half the fluid that it displaces:
# Lamb, Hydrodynamics, 6th ed., art. 92 (number from memory).
ADDED_MASS_SHARE = 0.5

# The drag of a sphere falls to about half where its boundary layer turns turbulent, between these Reynolds numbers
# (the drag crisis; textbook values of a smooth sphere are 2e5 to 4e5, from memory; a soft balloon in gusty air
# does it more gradually, common practice, no source).
LAMINAR_REYNOLDS = 1e5
TURBULENT_REYNOLDS = 6e5

# A canopy in its bag, and how far it falls while it fills: guesses, no source.
PACKED_SHARE = 0.1
OPENING_M = 40.0


def sphere_volume_m3(diameter_m):
    return pi / 6.0 * diameter_m**3


def gas_amount_mol(balloon, payload_kg, pressure_pa, temperature_k, air_density_kg_m3):
    """Give the lifting gas that leaves the free lift over at launch.

    balloon: the mission's section; pressure, temperature and density of the air at launch.
    Returns mol; the gas has the pressure and the temperature of the air.
    Raises FlightError for an unknown gas.
    """
    if balloon.gas not in MOLAR_MASS_KG_MOL:
        known = " or ".join(MOLAR_MASS_KG_MOL)
        raise FlightError(f"balloon.gas must be {known}, not {balloon.gas!r}")
    mol_per_m3 = pressure_pa / (GAS_CONSTANT_J_MOL_K * temperature_k)
    net_lift_kg_m3 = air_density_kg_m3 - mol_per_m3 * MOLAR_MASS_KG_MOL[balloon.gas]
    lifted_kg = balloon.mass_kg + payload_kg + balloon.free_lift_kg
    return lifted_kg / net_lift_kg_m3 * mol_per_m3


def gas_volume_m3(gas_mol, pressure_pa, temperature_k):
    """Volume of the gas at the air's pressure and temperature.

    The skin's own pressure is neglected: some hundred Pa at most, common practice, no source.
    """
    return gas_mol * GAS_CONSTANT_J_MOL_K * temperature_k / pressure_pa


def dynamic_viscosity_pa_s(temperature_k):
    """Viscosity of air: Sutherland's formula, US Standard Atmosphere 1976, equation 51."""
    return 1.458e-6 * temperature_k**1.5 / (temperature_k + 110.4)


def drag_coefficients(balloon, reynolds):
    """Drag coefficient at a Reynolds number, array in, array out: linear in its logarithm across the crisis."""
    share = np.log(reynolds / LAMINAR_REYNOLDS) / np.log(TURBULENT_REYNOLDS / LAMINAR_REYNOLDS)
    thin, dense = balloon.drag_coefficient_thin_air, balloon.drag_coefficient
    return thin + (dense - thin) * np.clip(share, 0.0, 1.0)


def _drag_at_steady_climb(balloon, force_n, diameter_m, density_kg_m3, temperature_k):
    """Drag coefficients at each height for the speed at which drag balances the free lift there.

    Gusts change the speed and so the Reynolds number too little to matter.
    """
    viscosity = dynamic_viscosity_pa_s(temperature_k)
    coefficients = np.full_like(diameter_m, balloon.drag_coefficient)
    for _ in range(50):
        area_drag = 0.5 * density_kg_m3 * coefficients * pi / 4.0 * diameter_m**2
        speed_m_s = np.sqrt(force_n / area_drag)
        # Half a step at a time: the full one would swing between the two sides of the crisis.
        wanted = drag_coefficients(balloon, density_kg_m3 * speed_m_s * diameter_m / viscosity)
        coefficients = 0.5 * (coefficients + wanted)
    return coefficients


@dataclass(frozen=True)
class BalloonTables:
    """A balloon with all its gas over height, from bottom_m upwards in steps of TABLE_STEP_M: arrays (n,)."""

    bottom_m: float
    fixed_kg: float  # balloon and payload
    gas_kg: float
    displaced_kg: np.ndarray  # air
    gravity_m_s2: np.ndarray
    drag_kg_m: np.ndarray  # drag is this times the speed squared
    burst_height_m: float


def balloon_tables(air, balloon, payload_kg, launch_height_m):
    """Tables of the balloon, and the height at which it bursts.

    air: an Air. balloon: the mission's section. payload_kg: everything below the neck.
    Returns BalloonTables. Raises FlightError when the balloon cannot fly.
    """
    coefficients = (balloon.drag_coefficient, balloon.drag_coefficient_thin_air)
    if min(balloon.mass_kg, payload_kg, balloon.free_lift_kg, *coefficients) <= 0:
        keys = "payload.mass_kg and balloon's mass_kg, free_lift_kg and both drag coefficients"
        raise FlightError(f"{keys} must be above zero")
    heights_m = table_heights_m(launch_height_m)
    pressure_pa = air.pressure_pa(heights_m)
    temperature_k = air.temperature_k(heights_m)
    density_kg_m3 = air.density_kg_m3(heights_m)
    gas_mol = gas_amount_mol(balloon, payload_kg, pressure_pa[0], temperature_k[0], density_kg_m3[0])
    volume_m3 = gas_volume_m3(gas_mol, pressure_pa, temperature_k)
    burst_height_m = _burst_height_m(heights_m, volume_m3, sphere_volume_m3(balloon.burst_diameter_m))
    gas_kg = gas_mol * MOLAR_MASS_KG_MOL[balloon.gas]
    mass_kg = balloon.mass_kg + payload_kg + gas_kg
    displaced_kg = density_kg_m3 * volume_m3
    diameter_m = (volume_m3 * 6.0 / pi) ** (1.0 / 3.0)
    gravity = gravity_m_s2(heights_m)
    force_n = (displaced_kg - mass_kg) * gravity
    drag = _drag_at_steady_climb(balloon, force_n, diameter_m, density_kg_m3, temperature_k)
    drag_kg_m = 0.5 * density_kg_m3 * drag * pi / 4.0 * diameter_m**2
    return BalloonTables(
        launch_height_m, balloon.mass_kg + payload_kg, gas_kg, displaced_kg, gravity, drag_kg_m, burst_height_m
    )


def _burst_height_m(heights_m, volume_m3, burst_volume_m3):
    burst_at = int(np.argmax(volume_m3 >= burst_volume_m3))
    if volume_m3[0] >= burst_volume_m3:
        raise FlightError(
            f"the balloon would burst on the ground: {volume_m3[0]:.2f} m3 of gas, and it holds "
            f"{burst_volume_m3:.2f} m3; use less balloon.free_lift_kg or a larger balloon.burst_diameter_m"
        )
    if not burst_at:
        raise FlightError("the balloon would not burst below 60 km; check balloon.burst_diameter_m")
    before, after = volume_m3[burst_at - 1], volume_m3[burst_at]
    share = (burst_volume_m3 - before) / (after - before)
    return float(heights_m[burst_at - 1] + share * TABLE_STEP_M)


def climb_motion(air, balloon, payload_kg, launch_height_m):
    """Tables of the climb, and the height at which the balloon bursts.

    Parameters and exceptions as of balloon_tables. Returns (Motion, burst_height_m).
    """
    tables = balloon_tables(air, balloon, payload_kg, launch_height_m)
    mass_kg = tables.fixed_kg + tables.gas_kg
    inertia_kg = mass_kg + ADDED_MASS_SHARE * tables.displaced_kg
    lift = (tables.displaced_kg - mass_kg) * tables.gravity_m_s2 / inertia_kg
    return Motion(launch_height_m, lift, tables.drag_kg_m / inertia_kg), tables.burst_height_m


def fall_motion(air, payload_kg, drag_area_m2, landing_height_m, opens_m=None):
    """Tables of the fall under the parachute. opens_m: it is still packed above this height, if given.

    Two simplifications: the parachute is open from the burst on, which in the thin air there
    makes little difference, and nothing of the torn balloon hangs on.
    Raises FlightError when mass or drag area is not above zero.
    """
    if min(payload_kg, drag_area_m2) <= 0:
        raise FlightError("payload.mass_kg and parachute.drag_area_m2 must be above zero")
    heights_m = table_heights_m(landing_height_m)
    resistance_per_m = 0.5 * air.density_kg_m3(heights_m) * drag_area_m2 / payload_kg
    if opens_m is not None:
        packed = np.clip((heights_m - opens_m) / OPENING_M + 1.0, 0.0, 1.0)
        resistance_per_m = resistance_per_m * (1.0 - packed * (1.0 - PACKED_SHARE))
    return Motion(landing_height_m, -gravity_m_s2(heights_m), resistance_per_m)


def terminal_speed_m_s(motion, height_m):
    """Steady vertical speed in still air, m/s, positive upwards: lift and resistance balance."""
    heights_m = motion.bottom_m + TABLE_STEP_M * np.arange(len(motion.lift_m_s2))
    lift = np.interp(height_m, heights_m, motion.lift_m_s2)
    resistance = np.interp(height_m, heights_m, motion.resistance_per_m)
    return np.sign(lift) * np.sqrt(np.abs(lift) / resistance)
