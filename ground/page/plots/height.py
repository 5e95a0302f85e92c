"""How high it was, over time."""

import numpy as np

from ground.page import looks
from ground.page.plot import LINE, MARKERS, Axis, NoPlot, Panel, Plot, Trace, rough_height, sentence, words
from ground.page.plots.shared import (
    GAP_S,
    broken,
    end_of_climb,
    line_of,
    minutes,
    moment_marks,
    stages,
    time_axis,
    told,
)

TITLE = "Height"
_LOGGED = "The board logged: "
_EVENT = looks.Style(looks.PURPLE, mark="diamond", size=9)


def plot(case, statements):
    """The heights of the flight with its phases, its moments and the events that the board logged."""
    combined = case.heights.combined
    if len(combined) < 2:
        return NoPlot("height", TITLE, "there are no heights in the data")
    traces = []
    for name, start_s, end_s, style in stages(case):
        trace = line_of(case, combined.between(start_s, end_s), "height_m", name, style)
        if trace is not None:
            traces.append(trace)
    by_air = combined.where(combined["from_fix"] == 0).between(case.window.start_s, case.window.end_s)
    notes = ()
    if len(case.heights.gnss) == 0:
        notes = ("The heights are from air pressure alone.",)
    elif len(by_air):
        time_s, height_m = broken(by_air, "height_m", 5.0)
        style = looks.Style(looks.ORANGE, looks.SOLID, 5.0)
        traces.insert(0, Trace("From air pressure, no fix", LINE, minutes(case, time_s), height_m, style))

    def place(time_s):
        if not combined.time_s[0] - GAP_S <= time_s <= combined.time_s[-1] + GAP_S:
            return None
        return minutes(case, time_s), float(np.interp(time_s, combined.time_s, combined["height_m"]))

    events = _events(case, place)
    traces += ([events] if events else []) + moment_marks(case, place)
    about = told(statements, ("launch", "greatest_height", "burst", "landing"), "A line of height over time.")
    panel = Panel(Axis("Height above the sea", "m"), tuple(traces))
    return Plot(
        "height", TITLE, _title(case, statements), about, time_axis(case), (panel,), notes=notes,
        table=_table(events), table_name="Events that the board logged", folded=True,
    )  # fmt: skip


def _table(events):
    """The events as a table, for readers without a pointer; None without any."""
    if events is None:
        return None
    rows = [
        [label.metric.removeprefix(_LOGGED), float(x), float(y)]
        for x, y, label in zip(events.x, events.y, events.labels, strict=True)
    ]
    return {"columns": [["event", "1"], ["since launch", "min"], ["height", "m"]], "rows": rows}


def _title(case, statements):
    highest = statements.get("greatest_height")
    if highest is None or highest["value"] is None:
        return words("How high it was, over time")
    top = rough_height(highest["value"])
    ended, end_s = end_of_climb(case)
    landing_s = case.moments.landing.time_s
    if end_s is None:
        return sentence("It went up to {top} above the sea", top=top)
    floated = ", floated," if ended == "End of the float" else ""
    if landing_s is None:
        return sentence("It climbed to {top}{floated} and fell", top=top, floated=floated)
    took = f"{round((landing_s - end_s) / 60.0)}"
    return sentence("It climbed to {top}{floated} and fell in {took} minutes", top=top, floated=floated, took=took)


def _events(case, place):
    """The events that the board logged itself, on the line of the heights."""
    events = case.timeline.series("event", ("tick_ms",))
    table = case.flight.tables.get("event")
    if table is None or len(events) == 0 or "event" not in table.columns:
        return None
    subjects = table.columns.get("subject_name", np.full(len(table), "", object))
    named = {}  # several events may bear one tick
    for boot, tick_ms, event, subject in zip(
        table.columns["boot"], table.columns["tick_ms"], table.columns["event"], subjects, strict=True
    ):
        named.setdefault((int(boot), int(tick_ms)), []).append(f"{event}{f' ({subject})' if subject else ''}")
    x, y, labels, done = [], [], [], set()
    for time_s, boot, tick_ms in zip(events.time_s, events.boot, events.tick_ms, strict=True):
        spot, key = place(time_s), (int(boot), int(tick_ms))
        if spot is None or key in done:
            continue
        done.add(key)
        x.append(spot[0])
        y.append(spot[1])
        labels.append(words(f"{_LOGGED}{'; '.join(named[key])}, {case.clock_text(time_s)}"))
    if not x:
        return None
    return Trace("Events of the board", MARKERS, np.array(x), np.array(y), _EVENT, labels=tuple(labels))
