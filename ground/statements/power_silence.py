"""The statement about who fell silent before the log ended."""

import numpy as np

from ground.analyse.alive import silent_since_s
from ground.statements.counts import counted
from ground.statements.moments_climb_end import at_text
from ground.statements.power_facts import (
    MINUTE_S, board_near, flight_span, height_at, landing_s, near, probe_name, since, table_of, whole,
)  # fmt: skip
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, statement
from protocol.table import DEVICES, event_code

# Name, kind, column that shows it is alive, the sensor's role, whether alike readings show that it stands still.
SENSORS = (
    ("barometer", "pressure", "pressure_hPa", "barometer", True),
    ("outside thermometer", "air", "temperature_degC", "outside_temperature", True),
    ("humidity chip", "air", "relative_humidity_percent", "humidity", True),
    ("motion sensor", "motion", "acceleration_z_m_s2", "motion", True),
    ("GNSS receiver", "fix", "quality", "gnss", False),
    ("battery's voltage", "power", "battery_V", "battery", False),
    ("rail's voltage", "power", "rail_V", "rail", False),
)
WITHOUT_READINGS = ("card", "downlink")  # of these the board's events tell
RAIL_SHARE = 0.9  # of the usual: a rail that ends below it has collapsed
TOLD = 4  # so many are told one by one


def find_silent(case, found):
    """Who was not heard until the end: a list of (name, time_s or None, how). found: PowerFacts."""
    return _silent_sensors(case, found.end_s) + _failed(case) + _collapsed(found.rail)


def _silent_sensors(case, end_s):
    silent = []
    probes = case.timeline.series("probe", ("probe",))
    numbers = {int(role.removeprefix("probe_")) for role in case.flight.sensors
               if role.startswith("probe_") and role.removeprefix("probe_").isdecimal()}  # fmt: skip
    sensors = [(*sensor, None) for sensor in SENSORS]
    for number in sorted(numbers | {int(n) for n in np.unique(probes["probe"])}):
        sensors.append((probe_name(case, number), "probe", "temperature_degC", f"probe_{number}", False, number))
    for name, kind, column, role, can_stand, probe in sensors:
        series = case.timeline.series(kind, (column, "probe") if probe is not None else (column,))
        if probe is not None:
            series = series.where(series["probe"] == probe)
        if len(series) == 0:
            if role in case.flight.sensors:
                silent.append((name, None, "never heard"))
            continue
        # Numbers of the samples are never alike; on the ground a slow thermometer may rightly stand still.
        values = series[column] if can_stand else np.arange(len(series))
        heard = silent_since_s(series.time_s, values[:, None], end_s)
        if heard is not None and not (heard[1] == "stands still" and heard[0] > case.window.end_s - MINUTE_S):
            silent.append((name, *heard))
    return silent


def _failed(case):
    failed, returned = event_code("device failed"), event_code("device returned")
    events, found = case.timeline.series("event", ("code", "subject")), []
    for name in WITHOUT_READINGS:
        own = events.where((events["subject"] == DEVICES.index(name)) & np.isin(events["code"], (failed, returned)))
        if len(own) and own["code"][-1] == failed:
            found.append((name, float(own.time_s[-1]), "failed"))
    return found


def _collapsed(rail):
    if len(rail) < 10:
        return []
    low = rail["rail_V"] < RAIL_SHARE * float(np.median(rail["rail_V"]))
    if low.all() or not low[-3:].all():  # all of them only where the voltages are no voltages
        return []
    return [("rail", float(rail.time_s[np.flatnonzero(~low)[-1]]), "collapsed")]


def what_died(case, found):
    """Its value is how many devices fell silent before the log ended."""
    silent = find_silent(case, found)
    rows, says, parts = [], {}, []
    for number, (name, time_s, how) in enumerate(silent):
        height_m = None if time_s is None else height_at(case, time_s)
        board, air = board_near(found, time_s), near(found.air, "temperature_degC", time_s)
        since_s = None if time_s is None else since(case, time_s)
        rows.append([name, since_s, whole(height_m), air, board, near(found.battery, "battery_V", time_s), how])
        if number >= TOLD:
            continue
        says |= {f"h{number}": Quantity(height_m, "m"), f"b{number}": Quantity(board, "degC"), f"n{number}": name}
        told = how
        if time_s is not None:
            when = at_text(case, time_s)
            told = f"last heard {when}" if how == "silent" else f"{how} since {when.removeprefix('at ')}"
            told += "" if height_m is None else f", {{h{number}}} high"
            told += "" if board is None else f", with the board at {{b{number}}}"
        parts.append(f"the {{n{number}}} ({told})")
    text = "Every device was heard until the log ended."
    if parts:
        more = f"; and {len(rows) - TOLD} more" if len(rows) > TOLD else ""
        text = f"{counted(len(rows), 'device')} fell silent before the log ended: {'; '.join(parts)}{more}."
    if case.phases.no_flight is None and landing_s(case) is None:
        last = case.heights.combined.between(found.end_s - 2.0 * MINUTE_S, found.end_s)
        height_m = float(last["height_m"][-1]) if len(last) else None
        volts = near(found.battery, "battery_V", found.end_s, 5.0 * MINUTE_S)
        says |= {"end_height": Quantity(height_m, "m"), "end_volts": Quantity(volts, "V", 2)}
        text += f" The log itself ends in the air, {at_text(case, found.end_s)}"
        text += "" if height_m is None else ", {end_height} high"
        text += "." if volts is None else ", with the battery at {end_volts}."
    columns = {"device": "", "last heard, since launch": "s", "height": "m", "air temperature": "degC",
               "board temperature": "degC", "battery": "V", "how": ""}  # fmt: skip
    method = "last reading over a minute and ten intervals before the last record, or readings alike to the end"
    return statement(
        "What fell silent", text, value=len(rows), unit="1", says=says, table=table_of(columns, rows),
        evidence=[evidence("value", "times of all records; event.code", method)],
        **flight_span(case, found.battery),
    )  # fmt: skip
