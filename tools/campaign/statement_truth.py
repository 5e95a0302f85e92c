"""The truth of each statement: what the simulator knows about the number, the time, the place that it gives.

Each function takes a World and a statement and gives a list of Part. A statement without a function here has no
truth in the simulator.
"""

from tools.campaign import statement_truth_air as air
from tools.campaign import statement_truth_flight as flight
from tools.campaign import statement_truth_log as log
from tools.campaign.statement_parts import Part, climb_s, fall_s, figure, rows, value
from tools.campaign.statement_world import KELVIN


def at_least(key):
    def parts(world, statement):
        truth = world.figures["motion"].get(key)
        if statement["value"] is None or truth is None:
            return []
        return [Part("at least", max(statement["value"] - truth, 0.0), statement["uncertainty"], truth, truth)]

    return parts


def battery(key):
    def parts(world, statement):
        board = world.figures["board"]
        when_s = world.figures["release" if key == "battery_at_launch_v" else "landing"]["time_s"]
        return value(statement, board[key] + world.voltage_shift_v(when_s))

    return parts


def battery_lowest(world, statement):
    """With what faults took from the voltage."""
    volts = world.path["battery_v"] + [world.voltage_shift_v(s) for s in world.path["seconds_since_power_on"]]
    return value(statement, float(volts[world.flying].min()))


def box(key, row=None, spread=None):
    """What the box did: the value, and a row of the table with its uncertainty."""

    def parts(world, statement):
        true = world.figures.get("box", {})
        found = value(statement, true.get(key))
        if row in true:
            found += [
                Part(row, abs(said - true[row]), wide, true[row], true[row])
                for said, wide in rows(statement, (row, spread))
            ]
        return found

    return parts


def delay(world, statement):
    return value(statement, world.figures["flight"]["gnss_delay_ms"] * (0.001 if statement["unit"] == "s" else 1.0))


TRUTHS = {
    "launch": flight.moment("release"), "burst": flight.moment("burst"), "landing": flight.moment("landing"),
    "climb_end": flight.climb_end_height, "float_time": flight.float_time, "last_fix": flight.last_fix,
    "landing_place": flight.landing_place, "after_landing": flight.after_landing,
    "duration": figure("flight", "duration_s"), "distance": figure("flight", "distance_m", factor=0.001),
    "bearing": flight.bearing,
    "greatest_height": figure("greatest_height_m"), "climb_rate": flight.climb_rate,
    "climb_steadiness": flight.speeds("climb rate", climb_s, 1.0),
    "fastest_climb": flight.extreme_climb(max), "slowest_climb": flight.extreme_climb(min),
    "coldest_air": air.coldest, "freezing_level": air.freezing, "lapse_rates": air.lapse_rates,
    "ground_temperature": figure("air", "ground_temperature_k", offset=-KELVIN, size=10.0),
    "tropopause": air.tropopause, "further_tropopauses": air.further, "most_humid_layer": air.humid,
    "thermometer_lag": air.lag, "barometer_offset": air.no_error,
    "pressure_at_top": air.at_top, "ground_pressure": air.on_ground,
    "greatest_ground_speed": figure("greatest_ground_speed_m_s"), "wind_layers": air.wind_layers,
    "strongest_wind": air.strongest, "jet": air.jet, "wind_shear": air.shear, "surface_wind": air.surface_wind,
    "greatest_fall_speed": figure("greatest_fall_speed_m_s"),
    "fall_curve": flight.speeds("fall speed", fall_s, 1.0),
    "ballistic_coefficient": flight.under_a_canopy("ballistic_coefficient_kg_m2"),
    "drag_area": flight.under_a_canopy("drag_area_m2"), "landing_speed": figure("flight", "landing_speed_m_s"),
    "spin": figure("motion", "climb", "spin_median_deg_s"), "swing": figure("motion", "climb", "swing_rms_deg"),
    "burst_shock": at_least("climb_end_shock_g"), "landing_shock": at_least("landing_shock_g"),
    "battery": battery("battery_at_launch_v"), "battery_lowest": battery_lowest,
    "battery_at_landing": battery("battery_at_landing_v"), "load_steps": log.load_steps,
    "inside_temperature": figure("board", "board_coldest_k", offset=-KELVIN, size=10.0),
    "battery_cold": log.battery_cold, "brown_outs": log.brown_outs,
    "tumbling": box("tumbled_s", "turns", "uncertainty of the turns"), "free_fall": box("free_fall_s"),
    "inversions": air.inversions, "warming_above": air.warming, "thermometer_trust": air.trust,
    "height_agreement": air.heights_agree,
    "gnss_coverage": log.gnss_coverage, "downlink_coverage": log.downlink_coverage,
    "tracker_coverage": log.tracker_coverage, "position_agreement": log.position_agreement,
    "silence_expected": log.silence_expected, "data_recovered": log.data_recovered, "data_gaps": log.data_gaps,
    "sensors_logged": log.sensors_logged, "clock_error": log.clock_error,
    "gnss_delay": delay, "clock_drift": figure("clock_drift_ppm"),
    "boots": log.boots, "resets_in_flight": log.resets,
}  # fmt: skip
