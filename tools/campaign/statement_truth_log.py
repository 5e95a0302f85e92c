"""Truths of the log, the board and other devices: functions of a World and a statement that give Parts."""

import numpy as np

from onboard.simulator.world.power import battery_voltage_v
from tools.campaign.statement_parts import Part, exact, rows, value, within

OPEN_S, BOOT_S = 2.0, 1.5  # a reset takes the block that is open (FORMAT.md), and the board needs time to begin
PERIODS = 3.0  # a report covers so many periods after it: the statements' own convention
_STEP_V = 0.1  # less is no step


def resets_in_flight(world):
    """[(from, to) in s since power-on]"""
    found = [(row["start_ms"] / 1000.0, row["stop_ms"] / 1000.0) for row in world.faults("reset")]
    return [span for span in found if world.flying_s[0] < span[0] < world.flying_s[1]]


def resets(world, statement):
    return exact(statement, len(resets_in_flight(world)))


def boots(world, statement):
    return exact(statement, 1 + len(world.faults("reset")))


def brown_outs(world, statement):
    """Resets while the battery had a quarter of its fall or less left to its lowest, as the statement means it."""
    seconds = world.path["seconds_since_power_on"]
    volts = world.path["battery_v"] + [world.voltage_shift_v(s) for s in seconds]
    launch_v, lowest_v = float(np.interp(world.flying_s[0], seconds, volts)), float(volts[world.flying].min())
    low_v = lowest_v + 0.25 * (launch_v - lowest_v)
    if launch_v - lowest_v < 0.2:
        return exact(statement, 0)
    starts_s = [from_s for from_s, _ in resets_in_flight(world)]
    return exact(statement, sum(np.interp(from_s, seconds, volts) <= low_v for from_s in starts_s))


def load_steps(world, statement):
    """How many, and the size of each."""
    shifts, end_ms = world.faults("shifted", "battery"), 1000 * world.figures["landing"]["time_s"]
    edges = sorted({row[key] for row in shifts for key in ("start_ms", "stop_ms") if row[key] < end_ms})
    shift_v = world.voltage_shift_v
    sizes = [shift_v(edge / 1000.0 + 0.5) - shift_v(edge / 1000.0 - 0.5) for edge in edges]
    sizes = [size for size in sizes if abs(size) >= _STEP_V]
    found = exact(statement, len(sizes))
    told = rows(statement, ("step", "uncertainty of the step"))
    if len(told) == len(sizes):
        found += [
            Part(f"step {i + 1}", abs(step - size), spread, abs(size), size)
            for i, ((step, spread), size) in enumerate(zip(told, sizes))
        ]
    return found


def battery_cold(world, statement):
    """The slope of the least squares line of voltage over temperature, of cells that do not age."""
    kelvin, battery = world.path["board_temperature_k"][world.flying], world.mission.battery
    volts = battery_voltage_v(np.zeros(len(kelvin)), kelvin, battery.cells, battery.capacity_mah)
    return value(statement, float(np.polyfit(kelvin, volts, 1)[0]))


def gnss_coverage(world, statement):
    ceiling_m = world.scenario.mission.get("gnss", {}).get("ceiling_m", float("inf"))
    if any(row["target"] == "gnss" for row in world.figures.get("faults", [])):
        return []
    return value(statement, 100.0 * float((world.path["height_m"][world.flying] <= ceiling_m).mean()))


def downlink_coverage(world, statement):
    """Of the seconds of flight, those in which the last three periods brought a transmission."""
    if world.heard_s is None:
        return []
    seconds = world.path["seconds_since_power_on"][world.flying]
    last = np.searchsorted(world.heard_s, seconds, side="right") - 1
    since_s = np.where(last >= 0, seconds - world.heard_s[last], np.inf)
    return value(statement, 100.0 * float((since_s <= PERIODS * world.mission.downlink.period_s).mean()))


def tracker_coverage(world, statement):
    """Where its reports of the flight really were: the highest, the last going up, the first coming down."""
    if world.tracker_s is None:
        return []
    from_s, to_s = world.flying_s
    seconds = world.tracker_s[(world.tracker_s >= from_s) & (world.tracker_s <= to_s)]
    height_m = np.array([world.at("height_m", s) for s in seconds])
    up = seconds < world.figures["climb_end"]["time_s"]
    found = value(statement, float(height_m.max()))
    told, spread = rows(statement, ("up to", "again from"))[0], statement["uncertainty"]
    for what, said, true in zip(("up to", "again from"), told, (height_m[up][-1], height_m[~up][0])):
        found.append(Part(what, abs(said - true), spread, float(true), float(true)))
    return found


def position_agreement(world, statement):
    """Median of the distance of two receivers with normal errors: Rayleigh's distribution, sigma sqrt(2 ln 2)."""
    if world.tracker_s is None:
        return []
    sigma_m = np.hypot(world.scenario.tracker["noise_m"], world.mission.gnss.noise_m)
    return value(statement, float(sigma_m * np.sqrt(2.0 * np.log(2.0))))


def silence_expected(world, statement):
    """One silence of each device that was made to have a usual one."""
    scenario = world.scenario
    usual = ["ceiling_m" in scenario.mission.get("gnss", {}), bool(scenario.tracker), bool(scenario.link)]
    return exact(statement, sum(usual))


def data_recovered(world, statement):
    return within(statement, 100.0 * (world.kept.share() if world.kept else 1.0), 0.1)


def data_gaps(world, statement):
    from_s, to_s = world.flying_s
    if world.kept:
        return value(statement, world.kept.longest_gap_s(from_s, to_s))
    longest_s = max((stop - start for start, stop in resets_in_flight(world)), default=None)
    if longest_s is None:
        return value(statement, 0.0)
    low_s, high_s = longest_s, longest_s + OPEN_S + BOOT_S
    return value(statement, float(np.clip(statement["value"], low_s, high_s)))


def sensors_logged(world, statement):
    from_s, to_s = world.flying_s
    if any(row["kind"] in ("garbled", "babbling") for row in world.figures.get("faults", [])):
        return []  # how many sentences the noise spoils is not known
    if world.kept:  # it says "at least", of the worst sensor
        most = 100.0 * world.kept.share(from_s, to_s)
        return value(statement, min(statement["value"], most))
    lost_s = [to_s - max(row["start_ms"] / 1000.0, from_s) for row in world.faults("silent")]
    ceiling_m = world.scenario.mission.get("gnss", {}).get("ceiling_m", float("inf"))
    lost_s.append(float((world.path["height_m"][world.flying] > ceiling_m).sum()))
    resets_s = resets_in_flight(world)
    off_s = sum(stop - start for start, stop in resets_s)
    least_s, most_s = (max([*lost_s, off_s + more * len(resets_s)]) for more in (0.0, OPEN_S + BOOT_S))
    low, high = (100.0 * (1.0 - lost / (to_s - from_s)) for lost in (most_s, least_s))
    return value(statement, float(np.clip(statement["value"], low, high)))


def clock_error(world, statement):
    """Its value is a bound: how far the UTC of the first boot's records is off must be below it."""
    ticks, utc_s = world.stamps
    ppm = world.figures["clock_drift_ppm"]
    true_s = (ticks - ticks // 1000 * ppm / 1000.0) / 1000.0
    off_s = float(np.abs(utc_s - true_s).max())
    return [Part("bound", off_s, statement["value"], 0.0, off_s)]
