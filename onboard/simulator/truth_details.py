"""Figures of a simulated flight beyond the main ones: the air that it flew through, its motion, its battery."""

import numpy as np

from ground.physics.geodesy import azimuth_deg, distance_m
from onboard.simulator.world.chance import generator
from onboard.simulator.world.motion import PERIOD_MS, angles_rad, rates_in_box, shocks
from onboard.simulator.world.power import battery_voltage_v
from onboard.simulator.world.sensors import inside_temperature_k
from onboard.simulator.world.stream import stream_times_s
from onboard.simulator.world.tropopause import tropopauses
from onboard.simulator.world.vertical import LEAK

LAYER_M = 500.0
BAND_M = 2000.0
_FINE_M = 10.0
_LAST_M = 100.0  # of the fall, for the landing speed
_FREEZING_K = 273.15


def flight_details(truth, mission):
    """How it climbed and came down: a dict of plain numbers in SI units."""
    release, landing, end = truth.release, truth.landing, truth.climb_end
    ends = (release.latitude_deg, release.longitude_deg, landing.latitude_deg, landing.longitude_deg)
    sinking = (truth.time_s > end.time_s) & (truth.time_s < landing.time_s)
    last = sinking & (truth.height_m < landing.height_m + _LAST_M)
    details = {
        "climb_ended_by": truth.climb_ended_by,
        "duration_s": landing.time_s - release.time_s,
        "distance_m": float(distance_m(*ends)),
        "bearing_deg": float(azimuth_deg(*ends)),
        "float": _float(truth),
        "landing_speed_m_s": -float(truth.velocity_up_m_s[last].mean()) if last.any() else None,
        "landed_in_tree": truth.mishaps.tree_m > 0.0,
        "carried_off_s": truth.mishaps.carried_after_s and landing.time_s + truth.mishaps.carried_after_s,
        "climb_bands": _bands(truth, release.time_s, end.time_s),
        "fall_bands": _bands(truth, end.time_s, landing.time_s),
        "payload_kg": mission.payload.mass_kg,
        "gnss_delay_ms": mission.gnss.output_delay_ms,
    }
    if truth.climb_ended_by != LEAK:
        area_m2 = mission.parachute.drag_area_m2 * truth.mishaps.canopy_share
        details["drag_area_m2"] = area_m2
        details["ballistic_coefficient_kg_m2"] = mission.payload.mass_kg / area_m2
    details["canopy"] = {"share": truth.mishaps.canopy_share, "opens_m": truth.mishaps.canopy_opens_m}
    return details


def _float(truth):
    if truth.float_s is None:
        return None
    from_s, to_s = truth.float_s
    height_m = truth.height_m[(truth.time_s >= from_s) & (truth.time_s <= to_s)]
    return {"from_s": from_s, "to_s": to_s, "height_m": float(height_m.mean())}


def _bands(truth, from_s, to_s):
    """Mean vertical speeds between multiples of 2 km: list of [bottom m, top m, m/s upwards, s in it]."""
    inside = (truth.time_s >= from_s) & (truth.time_s <= to_s)
    band = np.floor(truth.height_m[inside] / BAND_M).astype(int)
    speed_m_s = truth.velocity_up_m_s[inside]
    step_s = truth.time_s[1] - truth.time_s[0]
    return [
        [number * BAND_M, (number + 1) * BAND_M, float(speed_m_s[band == number].mean()),
         float((band == number).sum() * step_s)]
        for number in np.unique(band).tolist()
    ]  # fmt: skip


def air_details(truth):
    """The air between the ground and the highest point, heights geometric: a dict of plain numbers in SI units."""
    air = truth.air
    ground_m, top_m = truth.release.height_m, float(truth.height_m.max())
    height_m = np.arange(ground_m, top_m, _FINE_M)
    kelvin = air.temperature_k(height_m)
    speed_m_s = np.hypot(*air.wind_m_s(height_m))
    crossing = np.flatnonzero((kelvin[1:] < _FREEZING_K) != (kelvin[:-1] < _FREEZING_K))
    heights_m, how = tropopauses(truth.sounding)
    strongest = int(np.argmax(speed_m_s))
    return {
        "ground_pressure_pa": float(air.pressure_pa(ground_m)),
        "ground_temperature_k": float(air.temperature_k(ground_m)),
        "pressure_at_top_pa": float(air.pressure_pa(top_m)),
        "freezing_levels_m": [float(height_m[index] + _FINE_M / 2.0) for index in crossing],
        "tropopauses": [
            {"height_m": each_m, "temperature_k": float(air.temperature_k(each_m)),
             "pressure_pa": float(air.pressure_pa(each_m))}
            for each_m in heights_m
            if each_m < top_m
        ],
        "tropopauses_are": how,
        "wind_layers": _wind_layers(air, ground_m, top_m),
        "strongest_wind_m_s": float(speed_m_s[strongest]),
        "strongest_wind_height_m": float(height_m[strongest]),
    }  # fmt: skip


def _wind_layers(air, ground_m, top_m):
    """Mean winds of the layers between multiples of 500 m, without gusts: list of [bottom m, top m, speed m/s, from
    deg, east m/s, north m/s]."""
    layers = []
    for bottom_m in np.arange(np.floor(ground_m / LAYER_M) * LAYER_M, top_m, LAYER_M).tolist():
        height_m = np.arange(max(bottom_m, ground_m), min(bottom_m + LAYER_M, top_m), _FINE_M)
        east, north = (float(part.mean()) for part in air.wind_m_s(height_m))
        from_deg = float(np.degrees(np.arctan2(-east, -north)) % 360.0)
        layers.append([bottom_m, bottom_m + LAYER_M, float(np.hypot(east, north)), from_deg, east, north])
    return layers


def board_series(truth, mission):
    """Temperature of board and battery, K, and the battery's voltage, V, at the truth's times."""
    inside_k = inside_temperature_k(truth)
    battery = mission.battery
    return inside_k, battery_voltage_v(truth.time_s, inside_k, battery.cells, battery.capacity_mah)


def board_details(truth, mission):
    """Board and battery between release and landing: a dict of plain numbers in SI units."""
    inside_k, volts = board_series(truth, mission)
    flying = (truth.time_s >= truth.release.time_s) & (truth.time_s <= truth.landing.time_s)
    lowest = int(np.argmin(np.where(flying, volts, np.inf)))
    return {
        "battery_at_launch_v": float(np.interp(truth.release.time_s, truth.time_s, volts)),
        "battery_lowest_v": float(volts[lowest]),
        "battery_lowest_s": float(truth.time_s[lowest]),
        "battery_at_landing_v": float(np.interp(truth.landing.time_s, truth.time_s, volts)),
        "board_coldest_k": float(inside_k[flying].min()),
        "board_coldest_s": float(truth.time_s[flying][np.argmin(inside_k[flying])]),
        "board_warmest_k": float(inside_k[flying].max()),
    }


def motion_details(truth, mission, seed):
    """How the box swung and spun, and the blows that it got: a dict, degrees and g; empty without a motion chip."""
    if mission.motion.chip == "none":
        return {}
    time_s = stream_times_s(truth, PERIOD_MS)
    angles = angles_rad(truth, time_s, generator(seed, "motion"))
    swing_deg = np.degrees(np.arccos(np.clip(np.cos(angles[0]) * np.cos(angles[1]), -1.0, 1.0)))
    spin_deg_s = np.abs(np.degrees(rates_in_box(angles)[2]))
    details = {}
    tumbled_s = truth.climb_end.time_s + 60.0
    for name, from_s, to_s in (
        ("climb", truth.release.time_s + 30.0, truth.climb_end.time_s - 5.0),
        ("fall", tumbled_s, truth.landing.time_s - 5.0),
    ):  # fmt: skip
        part = (time_s > from_s) & (time_s < to_s)
        if part.any():
            details[name] = {
                "swing_rms_deg": float(np.sqrt(np.mean(swing_deg[part] ** 2))),
                "spin_median_deg_s": float(np.median(spin_deg_s[part])),
            }
    blows = [size_g for _, size_g in shocks(truth)]
    return {**details, "climb_end_shock_g": blows[0], "landing_shock_g": blows[1]}


def details(truth, mission, seed):
    """All of these figures in one dict, by topic."""
    return {
        "flight": flight_details(truth, mission), "air": air_details(truth), "board": board_details(truth, mission),
        "motion": motion_details(truth, mission, seed),
    }  # fmt: skip
