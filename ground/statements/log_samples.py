"""Which sensors gave data: the samples logged in flight, of those that the log's own rates promise."""

import numpy as np

from ground.statements.log_gaps import axis_times, find_gaps
from ground.statements.statement import evidence, missing, statement

_SENSORS = [
    ["kind and column", "1"], ["period", "s"], ["expected", "1"], ["with a value", "1"], ["share", "percent"],
]  # fmt: skip
# What a kind is logged for; the first that is there.
_MAIN = {
    "fix": (("latitude_deg",), ("height_m",)),
    "pressure": (("pressure_hPa", "pressure_counts"),),
    "air": (("temperature_degC", "temperature_counts"), ("relative_humidity_percent", "humidity_counts")),
    "motion": (("acceleration_x_m_s2", "acceleration_x_counts"), ("rate_x_deg_s", "rate_x_counts")),
    "power": (("battery_V", "battery_counts"),),
}


def sensors_logged(case):
    """Make sensors_logged: the lowest share of the expected samples that came back; its table has all."""
    found = case.once(find_gaps)
    title = "Samples logged"
    if found.reason:
        return missing(title, "percent", found.reason)
    start_s, end_s = case.window.start_s, case.window.end_s
    rows = []
    for kind, period_s in found.periods_s.items():
        columns = case.timeline.tables[kind].columns
        time_s, known = axis_times(case.timeline, case.timeline.tables[kind])
        known = known & (time_s >= start_s) & (time_s <= end_s)
        for names in _MAIN.get(kind, ()):
            name = next((name for name in names if name in columns), None)
            if name is not None and columns[name].dtype.kind == "f":
                expected, came = (end_s - start_s) / period_s, int((known & np.isfinite(columns[name])).sum())
                percent = round(min(100.0 * came / expected, 100.0), 1)
                rows.append([f"{kind}.{name}", round(period_s, 3), round(expected), came, percent])
    if not rows:
        return missing(title, "percent", "no sensor's records are in the data")
    worst = min(rows, key=lambda row: row[4])
    silent = [row[0] for row in rows if row[3] == 0]
    text = "Of each sensor's expected samples in flight at least {value} hold a value"
    text += "." if worst[4] >= 99.5 else "; the fewest are of {name}."
    if worst[4] >= 99.95:
        text = "Every sensor gave all its samples in flight."
    return statement(
        title, text, value=worst[4], unit="percent", decimals=1, uncertainty=0.1, says={"name": worst[0]},
        caveats=[f"no sample at all of {', '.join(silent)}"] if silent else [], confidence="high",
        evidence=[evidence("value", row[0], "found of expected by the log's own rates", row[3]) for row in rows],
        table={"columns": _SENSORS, "rows": rows}, **case.span(start_s, end_s),
    )  # fmt: skip
