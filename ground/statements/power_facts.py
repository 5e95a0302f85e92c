"""What the records of the supply and of the temperatures inside give, for the statements about power and cold."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ground.analyse import power
from ground.analyse.alive import LEAST_ALIKE, changes
from ground.analyse.heights import air_temperature
from ground.analyse.series import Series, without_outliers

# Two resistors of 1 % and a reference of 1 % (common practice, no source), as even distributions, expanded (k = 2).
VOLT_SCALE = 2.0 * ((2.0 * 0.01**2 + 0.01**2) / 3.0) ** 0.5
FRESH_S = 600.0  # a fresh cell's voltage falls fast at first, whatever the temperature (common practice, no source)
MINUTE_S = 60.0
STUCK_S = 600.0  # the motion chip's thermometer has 340 counts a degree (MPU-6050 data sheet, 6.2), so never rests
LEAST_V = 1.0  # no board runs from less
# What stands out from the half minute around it by more than NEAR_V, or from 2.5 minutes by more than FAR_V, was
# garbled; a load that goes on or off stays for longer (common practice, no source).
FAR_V, NEAR_V = 3.0, 0.3


@dataclass(eq=False)
class PowerFacts:
    """battery, rail, board, air: Series of battery_V, rail_V, board_temperature_degC, temperature_degC; probes:
    dict number -> Series of temperature_degC; steps: list of power.Step; cold: power.ColdFit; resets: list of
    (time_s of the new boot's first record, time_s of the old one's last); boots: the numbers of those on the axis;
    end_s: of the last record. no_battery: why the battery's voltages are none, or None; stuck: how many readings of
    the board's thermometer stood still and were left out.
    """

    battery: Series
    rail: Series
    board: Series
    air: Series
    probes: dict
    steps: list
    cold: power.ColdFit
    resets: list
    boots: tuple
    end_s: float
    no_battery: str | None
    stuck: int


def find_power(case) -> PowerFacts:
    """Find what the records of supply and inside temperatures tell of a Case; Series may be empty."""
    line, window = case.timeline, case.window
    battery, rail = line.series("power", ("battery_V",)), line.series("power", ("rail_V",))
    no_battery = _no_battery(battery)
    battery = battery.where(slice(0, 0)) if no_battery else without_outliers(battery, "battery_V", FAR_V, NEAR_V)
    whole = line.series("power", ("board_temperature_degC",))
    board = whole.where(changes(whole.time_s, whole["board_temperature_degC"], STUCK_S))
    readings = line.series("probe", ("temperature_degC", "probe"))
    probes = {int(n): readings.where(readings["probe"] == n) for n in np.unique(readings["probe"])}
    steps = power.find_steps(battery.time_s, battery["battery_V"])
    cold = power.ColdFit(reason=no_battery)
    if no_battery is None:
        both = line.series("power", ("battery_V", "board_temperature_degC"))
        both = both.where(changes(both.time_s, both["board_temperature_degC"], STUCK_S))
        both = without_outliers(both, "battery_V", FAR_V, NEAR_V).between(window.start_s + FRESH_S, window.end_s)
        cold = power.fit_cold(both.time_s, both["battery_V"], both["board_temperature_degC"], steps)
    boots, end_s = _boots(line)
    order = sorted(boots.values())
    resets = [(new[0], old[1]) for old, new in pairwise(order) if window.start_s < new[0] < window.end_s]
    return PowerFacts(
        battery, rail, board, air_temperature(line, "temperature_degC"), probes, steps, cold, resets, tuple(boots),
        end_s, no_battery, len(whole) - len(board),
    )  # fmt: skip


def _no_battery(battery):
    volts = battery["battery_V"]
    if len(volts) == 0:
        return "the log holds no voltage of the battery"
    usual = float(np.median(volts))
    if usual < LEAST_V:
        return f"its voltage was read as {usual:.2f} V, from which no board runs, so it was probably not wired up"
    if len(volts) >= LEAST_ALIKE and np.ptp(volts) == 0.0:
        return f"its voltage was read as {usual:.2f} V all the time, so the converter stood still"
    return None


def _boots(line):
    """(dict boot -> (first, last) time on the axis, the last time of any record)."""
    boots, end_s = {}, -np.inf
    for kind in line.tables:
        series = line.series(kind, (), kind)
        end_s = max(end_s, float(series.time_s[-1])) if len(series) else end_s
        for boot in np.unique(series.boot):
            times = series.time_s[series.boot == boot]
            old = boots.get(int(boot), (np.inf, -np.inf))
            boots[int(boot)] = (min(old[0], float(times[0])), max(old[1], float(times[-1])))
    return boots, end_s


def probe_name(case, number):
    """What the mission calls a probe, or its number."""
    probes = case.mission.probes if case.mission else ()
    return f"probe {probes[number - 1].name}" if 0 < number <= len(probes) else f"probe {number}"


def near(series, name, time_s, reach_s=MINUTE_S):
    """The median of the samples within so many seconds, None without any."""
    if time_s is None:
        return None
    got = power.level(series.time_s, series[name], time_s - reach_s, time_s + reach_s)
    return None if got is None else round(got[0], 4)


def board_near(found, time_s):
    """The temperature of the board at about this time, degC, or None."""
    return near(found.board, "board_temperature_degC", time_s)


def in_flight(case, series):
    """The samples of the flight."""
    return series.between(case.window.start_s, case.window.end_s)


def lowest_sample(case, found):
    """(time, V, Series) of the battery's lowest voltage in flight and of all its voltages there, or None."""
    flying = in_flight(case, found.battery)
    best = power.extreme(flying.time_s, flying["battery_V"], -1)
    return None if best is None else (float(flying.time_s[best[0]]), best[1], flying)


def flight_span(case, series):
    """The keys of the span of a statement about the flight, as far as its ends and these samples reach."""
    if len(series) == 0:
        return {}
    first_s, last_s = float(series.time_s[0]), float(series.time_s[-1])
    start_s, end_s = case.window.start_s, case.window.end_s
    return case.span(max(start_s, first_s), min(end_s, last_s)) if start_s <= last_s and end_s >= first_s else {}


def since(case, time_s):
    """Seconds since the launch, for a table."""
    return round(float(case.since_launch_s(time_s)), 1)


def height_at(case, time_s):
    """The height above the sea at a time, m, or None."""
    return case.heights.at(time_s)[0]


def whole(number):
    """A number for a table, rounded; None stays None."""
    return None if number is None else round(number)


def table_of(columns, rows):
    """A statement's table; columns: dict name -> unit. None without rows."""
    return {"columns": [list(column) for column in columns.items()], "rows": rows} if rows else None


def landing_s(case):
    """When the payload lay on the ground at the latest, on the axis, or None."""
    return case.phases.rest_s if case.moments.landing.time_s is None else case.moments.landing.time_s
