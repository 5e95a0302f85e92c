"""The vertical part of a flight: up, perhaps a float, and down, with or without mishaps."""

from dataclasses import dataclass, replace

import numpy as np

from onboard.simulator.world.balloon import balloon_tables, climb_motion, fall_motion, terminal_speed_m_s
from onboard.simulator.world.integrate import STEP_S, FlightError, integrate, table_heights_m
from onboard.simulator.world.losing_gas import VENT_TIME_CONSTANT_S, Leak, LosingGas, Vent, floating_share

BURST, CUT, LEAK = "burst", "cut", "leak"  # how a climb ends


@dataclass(frozen=True)
class Vertical:
    """Heights (m) and speeds (m/s) at steps of STEP_S from release to the first state beyond the landing; ends:
    BURST, CUT or LEAK; end_s, end_m: when and where the climb ended so (of a leak: the top); float_s: (from, to)
    while it floated, or None; landing_s, landing_m. Times are since release.
    """

    height_m: np.ndarray
    speed_m_s: np.ndarray
    ends: str
    end_s: float
    end_m: float
    float_s: tuple | None
    landing_s: float
    landing_m: float


def up_and_down(mission, air, updraught_m_s, mishaps):
    """Fly the vertical part. mission: a Mission; air: an Air; updraught_m_s: as for integrate(); mishaps: Mishaps.

    Returns a Vertical. Raises FlightError when it cannot be flown.
    """
    launch, payload_kg = mission.launch, mission.payload.mass_kg
    balloon = replace(mission.balloon, burst_diameter_m=mission.balloon.burst_diameter_m * mishaps.burst_share)
    climb, burst_m = climb_motion(air, balloon, payload_kg, launch.height_m)
    landing_m = launch.landing_height_m + mishaps.tree_m
    if burst_m <= landing_m:
        raise FlightError("the balloon bursts below launch.landing_height_m; check both")
    _check_heights(mishaps, max(launch.height_m, landing_m), burst_m)
    if mishaps.leak or mishaps.float_at:
        return _losing_gas(mission, air, updraught_m_s, mishaps, climb, burst_m, landing_m)
    end_m = burst_m if mishaps.cut_m is None else mishaps.cut_m
    height_m, speed_m_s, end_s = integrate(climb, launch.height_m, 0.0, end_m, updraught_m_s)
    ends = BURST if mishaps.cut_m is None else CUT
    end = (ends, end_s, end_m, None)
    return _fallen(mission, air, updraught_m_s, mishaps, (height_m, speed_m_s), end, landing_m)


def _check_heights(mishaps, lowest_m, burst_m):
    for name, height_m in (
        ("float", mishaps.float_at and mishaps.float_at[0]), ("leak", mishaps.leak and mishaps.leak[0]),
        ("cut-down", mishaps.cut_m), ("late-canopy", mishaps.canopy_opens_m),
    ):  # fmt: skip
        if height_m is not None and not lowest_m < height_m < burst_m:
            raise FlightError(
                f"mishap {name} at {height_m:.0f} m is outside this flight, which reaches from {lowest_m:.0f} to "
                f"{burst_m:.0f} m; give a height between"
            )


def _losing_gas(mission, air, updraught_m_s, mishaps, climb, burst_m, landing_m):
    launch, payload_kg = mission.launch, mission.payload.mass_kg
    tables = balloon_tables(air, mission.balloon, payload_kg, launch.height_m)
    wanted_m = (mishaps.float_at or mishaps.leak)[0]
    if mishaps.float_at:
        # While the vent lets the free lift go, it climbs on: its speed falls as the square root of the lift.
        climbed_m = 2.0 * VENT_TIME_CONSTANT_S * float(terminal_speed_m_s(climb, wanted_m))
        start_m = max(wanted_m - climbed_m, launch.height_m + 1.0)
    else:
        start_m = wanted_m
    up_m, up_m_s, _ = integrate(climb, launch.height_m, 0.0, start_m, updraught_m_s)
    start_s = (len(up_m) - 1) * STEP_S
    if mishaps.leak:
        canopy = 0.5 * air.density_kg_m3(table_heights_m(launch.height_m)) * mission.parachute.drag_area_m2
        motion = LosingGas(tables, Leak(start_s, mishaps.leak[1] / 100.0 / 3600.0), canopy)
        on_m, on_m_s, on_s = integrate(motion, up_m[-1], up_m_s[-1], landing_m, updraught_m_s, start_s)
        height_m, speed_m_s = np.concatenate([up_m, on_m[1:]]), np.concatenate([up_m_s, on_m_s[1:]])
        top = int(np.argmax(height_m))
        if height_m[top] >= burst_m:
            raise FlightError("the balloon bursts before the leak ends its climb; order a faster or lower leak")
        return Vertical(
            height_m, speed_m_s, LEAK, top * STEP_S, float(height_m[top]), None, start_s + on_s, landing_m
        )
    vent = Vent(start_s, floating_share(tables, wanted_m))
    until_s = round(start_s + mishaps.float_at[1])
    on_m, on_m_s, on_s = integrate(
        LosingGas(tables, vent), up_m[-1], up_m_s[-1], burst_m, updraught_m_s, start_s, until_s
    )
    if on_m[-1] >= burst_m:
        raise FlightError("the balloon would burst while it slows down to float; order a lower height")
    height_m, speed_m_s = np.concatenate([up_m, on_m[1:]]), np.concatenate([up_m_s, on_m_s[1:]])
    end_s = (len(height_m) - 1) * STEP_S
    # Afloat from when the steady climb is a tenth of what it was: a hundredth of the free lift is left.
    float_s = (start_s + VENT_TIME_CONSTANT_S * float(np.log(100.0)), end_s)
    end = (BURST, end_s, float(height_m[-1]), float_s)
    return _fallen(mission, air, updraught_m_s, mishaps, (height_m, speed_m_s), end, landing_m)


def _fallen(mission, air, updraught_m_s, mishaps, up, end, landing_m):
    """Add the fall to what was flown so far."""
    drag_area_m2 = mission.parachute.drag_area_m2 * mishaps.canopy_share
    fall = fall_motion(air, mission.payload.mass_kg, drag_area_m2, landing_m, mishaps.canopy_opens_m)
    # The fall starts from the step that passed the end of the climb, within STEP_S of it.
    start_s = (len(up[0]) - 1) * STEP_S
    down_m, down_m_s, fall_s = integrate(fall, up[0][-1], up[1][-1], landing_m, updraught_m_s, start_s)
    height_m, speed_m_s = np.concatenate([up[0], down_m[1:]]), np.concatenate([up[1], down_m_s[1:]])
    return Vertical(height_m, speed_m_s, *end, start_s + fall_s, landing_m)
