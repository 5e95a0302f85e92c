"""Statements about the battery's voltage: at launch, at its lowest, at the landing."""

from ground.analyse import power
from ground.analyse.extremes import coverage
from ground.statements.moments_climb_end import at_text
from ground.statements.power_facts import (
    MINUTE_S, VOLT_SCALE, board_near, flight_span, height_at, landing_s, lowest_sample, near, since, table_of,
    whole,
)  # fmt: skip
from ground.statements.quantity import Quantity
from ground.statements.shared import share_percent
from ground.statements.statement import evidence, missing, statement

READ_V = 0.005  # of a running median, expanded: what the converter's noise leaves (guess, no source)


def _row(case, found, name, time_s, volts):
    rail_v, height_m = near(found.rail, "rail_V", time_s), height_at(case, time_s)
    return [name, since(case, time_s), round(volts, 3), rail_v, board_near(found, time_s), whole(height_m)]


def battery(case, found):
    """Its value is the voltage just before the launch, or where the data begin."""
    title, volts = "Battery", found.battery
    if found.no_battery:
        return missing(title, "V", found.no_battery)
    launch_s = case.moments.launch.time_s
    start_s = launch_s if launch_s is not None else max(case.window.start_s, float(volts.time_s[0]))
    last_s = start_s + (5.0 if launch_s is not None else MINUTE_S)
    first = power.level(volts.time_s, volts["battery_V"], start_s - MINUTE_S, last_s)
    lowest_one, down_s = lowest_sample(case, found), landing_s(case)
    if first is None or lowest_one is None:
        return missing(title, "V", "there is no voltage of the battery around the launch")
    rows = [_row(case, found, "launch" if launch_s is not None else "beginning of the data", start_s, first[0]),
            _row(case, found, "lowest", *lowest_one[:2])]  # fmt: skip
    last = near(volts, "battery_V", down_s)
    if last is not None:
        rows.append(_row(case, found, "landing", down_s, last))
    when = "at the launch" if launch_s is not None else "where the data begin"
    text = f"The battery gave {{value}} {when}, give or take {{uncertainty}}. At its lowest it gave {{lowest}}"
    text += ", and at the landing {last}." if last is not None else "."
    columns = {"moment": "", "time since launch": "s", "battery": "V", "rail": "V", "board temperature": "degC",
               "height": "m"}  # fmt: skip
    method = "median of the last minute before" if launch_s is not None else "median of the first minute"
    return statement(
        title, text, value=first[0], unit="V", decimals=2, uncertainty=VOLT_SCALE * first[0] + 2.0 * first[1],
        says={"lowest": Quantity(lowest_one[1], "V", 2), "last": Quantity(last, "V", 2)},
        evidence=[evidence("value", "power.battery_V", method, first[2])],
        table=table_of(columns, rows), **flight_span(case, volts),
    )  # fmt: skip


def lowest(case, found):
    """The battery's lowest voltage in flight."""
    title, lowest_one = "Lowest voltage of the battery", lowest_sample(case, found)
    if lowest_one is None:
        return missing(title, "V", found.no_battery or "the log holds no voltage of the battery in flight")
    time_s, value, flying = lowest_one
    height_m, source = case.heights.at(time_s)
    cold = board_near(found, time_s)
    text = "The battery was at its lowest {when}: {value}, give or take {uncertainty}."
    if height_m is not None:
        text += " The payload was {height} above the sea then"
        text += "." if cold is None else ", and its board at {cold}."
    elif cold is not None:
        text += " The board was at {cold} then."
    method = f"lowest running median of {power.SMOOTH_SAMPLES}"
    rests_on = [evidence("value", "power.battery_V", method, len(flying))]
    if source:
        rests_on.append(evidence("height", source))
    return statement(
        title, text, value=value, unit="V", decimals=2, uncertainty=VOLT_SCALE * value + READ_V, evidence=rests_on,
        says={"when": at_text(case, time_s), "height": Quantity(height_m, "m"), "cold": Quantity(cold, "degC")},
        coverage_percent=share_percent(coverage(flying.time_s, case.window.start_s, case.window.end_s)),
        height_m=height_m, **flight_span(case, flying), **case.at(time_s, flying),
    )  # fmt: skip


def at_landing(case, found):
    """The battery's voltage at the landing."""
    title, down_s = "Battery at the landing", landing_s(case)
    if found.no_battery:
        return missing(title, "V", found.no_battery)
    if down_s is None:
        return missing(title, "V", case.moments.landing.reason or "the landing is not known")
    got = power.level(found.battery.time_s, found.battery["battery_V"], down_s - MINUTE_S, down_s + MINUTE_S)
    if got is None:
        return missing(title, "V", "there is no voltage of the battery within a minute of the landing")
    cells = case.mission.battery.cells if case.mission else None
    text = "At the landing the battery still gave {value}, give or take {uncertainty}"
    text += ", which is {cell} a cell." if cells and cells > 1 else "."
    text += " How much charge was left in it, the voltage alone cannot tell."
    return statement(
        title, text, value=got[0], unit="V", decimals=2, uncertainty=VOLT_SCALE * got[0] + 2.0 * got[1],
        says={"cell": Quantity(got[0] / cells if cells else None, "V", 2)}, **case.at(down_s, found.battery),
        evidence=[evidence("value", "power.battery_V", "median of the minute before and after", got[2])],
        span=case.span(down_s - MINUTE_S, down_s + MINUTE_S),
    )  # fmt: skip
