"""Statements about the load on the battery: sudden steps of its voltage, and resets while it was low."""

import numpy as np

from ground.analyse import power
from ground.statements.counts import counted, times
from ground.statements.moments_climb_end import at_text
from ground.statements.power_facts import (
    MINUTE_S, board_near, flight_span, height_at, lowest_sample, near, since, table_of, whole,
)  # fmt: skip
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, missing, statement

LEAST_SAG_V, NEAR_LOWEST = 0.2, 0.25
TOLD = 3  # so many steps are told one by one


def _beside(found, switches, step):
    """What else happened at a step: half a sentence, or nothing."""
    time_s = (step.before_s + step.after_s) / 2
    if any(abs(time_s - new_s) < MINUTE_S for new_s, _ in found.resets):
        return "the board began anew"
    if len(switches) and np.abs(switches - time_s).min() < step.after_s - step.before_s + 5.0:
        return "a switch of the board changed"
    return ""


def load_steps(case, found):
    """Its value is how often the battery's voltage jumped."""
    title = "Steps of the battery's load"
    if found.no_battery:
        return missing(title, "1", found.no_battery)
    if len(found.battery) < 4 * power.NEAR_SAMPLES:
        return missing(title, "1", "the log holds too few voltages of the battery")
    switches = case.timeline.event_times("switch changed")
    rows, says, parts = [], {"least": Quantity(power.LEAST_STEP_V, "V", 2)}, []
    for number, step in enumerate(found.steps):
        time_s, beside = (step.before_s + step.after_s) / 2, _beside(found, switches, step)
        rows.append([since(case, time_s), round(step.after_s - step.before_s, 1), round(step.volts, 3),
                     round(2.0 * step.uncertainty_v, 3), round(step.level_v, 3), board_near(found, time_s),
                     whole(height_at(case, time_s)), beside])  # fmt: skip
        if number < TOLD:
            says[f"v{number}"] = Quantity(abs(step.volts), "V", 2)
            way = "up, as less was drawn" if step.volts > 0 else "down, as more was drawn"
            part = f"{at_text(case, time_s)} by {{v{number}}} {way}"
            parts.append(part + (f", when {beside}" if beside else ""))
    text = "The battery's voltage made no sudden step of {least} or more, so nothing large went on or off."
    if rows:
        more = f"; and {times(len(rows) - TOLD)} more" if len(rows) > TOLD else ""
        text = f"The battery's voltage jumped {times(len(rows))}, so something went on or off: "
        text += "; ".join(parts) + more + "."
    columns = {"time since launch": "s", "known within": "s", "step": "V", "uncertainty of the step": "V",
               "voltage before": "V", "board temperature": "degC", "height": "m", "beside it": ""}  # fmt: skip
    method = "line with a step against line and parabola without, Bayesian information criterion"
    return statement(
        title, text, value=len(rows), unit="1", says=says, table=table_of(columns, rows),
        evidence=[evidence("value", "power.battery_V", method, len(found.battery))],
        span=case.span(float(found.battery.time_s[0]), float(found.battery.time_s[-1])),
    )  # fmt: skip


def _untimed(case, found):
    """How many boots may have begun in flight, but have no time on the axis."""
    first, last = case.moments.launch.boot, case.moments.landing.boot
    numbers = [boot.boot for boot in case.log.boots if boot.boot not in found.boots]
    return sum((first is None or n > first) and (last is None or n <= last) for n in numbers)


def brown_outs(case, found):
    """Its value is how many resets in flight came while the battery was near its lowest."""
    title, lowest, battery = "Resets at a low voltage", lowest_sample(case, found), found.battery
    untimed = _untimed(case, found)
    if case.phases.no_flight:
        return missing(title, "1", case.phases.no_flight)
    if lowest is None:
        return missing(title, "1", found.no_battery or "the log holds no voltage of the battery in flight")
    if untimed and not found.resets:
        return missing(title, "1", f"{counted(untimed, 'boot')} without a known time may have begun in flight")
    highest = near(battery, "battery_V", case.window.start_s)
    sag = (float(np.median(lowest[2]["battery_V"])) if highest is None else highest) - lowest[1]
    rows, low = [], 0
    for new_s, old_s in found.resets:
        before = power.level(battery.time_s, battery["battery_V"], old_s - MINUTE_S, old_s)
        is_low = before is not None and sag >= LEAST_SAG_V and before[0] <= lowest[1] + NEAR_LOWEST * sag
        low += is_low
        volts = round(before[0], 3) if before else None
        off_s, yes = round(new_s - old_s, 1), "yes" if is_low else "no"
        rows.append([since(case, new_s), off_s, volts, board_near(found, old_s), yes])
    text = "The board did not begin anew in flight, so a low battery never stopped it."
    if rows:
        often = {0: "never ", len(rows): ""}.get(low, times(low) + " ")
        text = f"The board began anew {times(len(rows))} in flight; the battery was {often}near its lowest, "
        text += "{lowest}, then."
    columns = {"time since launch": "s", "without records": "s", "battery before": "V", "board temperature": "degC",
               "near the lowest": ""}  # fmt: skip
    caveats = ["a low voltage beside a reset does not prove that it was the cause"] if low else []
    if untimed:
        caveats.append(f"{counted(untimed, 'boot')} without a known time may have begun in flight too")
    return statement(
        title, text, value=low, unit="1", says={"lowest": Quantity(lowest[1], "V", 2)}, caveats=caveats,
        table=table_of(columns, rows), **flight_span(case, battery),
        evidence=[evidence("value", "boot numbers, power.battery_V", "boots that begin in flight", len(rows))],
    )  # fmt: skip
