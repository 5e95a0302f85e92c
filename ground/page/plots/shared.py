"""What several plots do alike."""

import numpy as np

from ground.analyse.climb_end import CUT, FLOAT
from ground.page import looks
from ground.page.plot import LINE, MARKERS, Axis, Trace, words

GAP_S = 15.0  # lines are not drawn across a longer time without samples


def time_axis(case):
    """The axis of minutes since launch."""
    if case.moments.launch.time_s is not None:
        return Axis("Time since launch", "min")
    known = np.isfinite(case.window.start_s)
    return Axis("Time since the heights begin" if known else "Time since the data begin", "min")


def minutes(case, time_s):
    """Times on the timeline, number or array, in the minutes of time_axis."""
    return case.since_launch_s(time_s) / 60.0


def broken(series, name, gap_s=GAP_S):
    """(time_s, values) of a Series with a NaN put into each gap, so that no line bridges it."""
    time_s, values = series.time_s, series[name]
    if len(time_s) < 2:
        return time_s, values
    least = max(gap_s, 5.0 * float(np.median(np.diff(time_s))))
    gaps = np.flatnonzero(np.diff(time_s) > least) + 1
    middle = (time_s[gaps] + time_s[gaps - 1]) / 2.0
    return np.insert(time_s, gaps, middle), np.insert(values, gaps, np.nan)


def line_of(case, series, name, called, style):
    """A Trace of a Series over the minutes since launch; None if it is empty."""
    if len(series) == 0:
        return None
    time_s, values = broken(series, name)
    return Trace(called, LINE, minutes(case, time_s), values, style)


def stages(case):
    """The parts of the flight as far as they are known: list of (name, start_s, end_s, Style)."""
    if case.phases.no_flight is not None:
        return [("The flight", -np.inf, np.inf, looks.CLIMB)]
    window, end = case.window, case.moments.climb_end
    fall_s = end_of_climb(case)[1]
    fall_s = window.top_s if fall_s is None else fall_s
    float_s = fall_s
    if end is not None and end.kind == FLOAT and end.float_start_s is not None:
        float_s = end.float_start_s
        if end.fall_s is None:  # it never fell, as far as the data go
            fall_s = window.end_s if end.float_end_s is None else end.float_end_s
    parts = [
        ("Before launch", -np.inf, window.start_s, looks.GROUND), ("Climb", window.start_s, float_s, looks.CLIMB),
        ("Float", float_s, fall_s, looks.FLOAT), ("Fall", fall_s, window.end_s, looks.FALL),
        ("After landing", window.end_s, np.inf, looks.GROUND),
    ]  # fmt: skip
    return [part for part in parts if part[2] > part[1]]


def end_of_climb(case):
    """(words, time_s) of what ended the climb, or the float after it; (None, None) where that is not known."""
    burst, end = case.moments.burst, case.moments.climb_end
    if burst.time_s is not None:
        return "Burst, or cut loose", burst.time_s  # heights alone cannot tell which
    if end is not None and end.kind == CUT and end.time_s is not None:
        return "Cut loose", end.time_s
    if end is not None and end.kind == FLOAT and end.fall_s is not None:
        return "End of the float", end.fall_s
    return None, None


def moment_marks(case, place):
    """A Trace with a mark for each of launch, end of the climb and landing.

    place: function of a time in s that gives (x, y), or None where it is not known.
    """
    marks = []
    for title, time_s, style in (
        ("Launch", case.moments.launch.time_s, looks.LAUNCH), (*end_of_climb(case), looks.BURST),
        ("Landing", case.moments.landing.time_s, looks.LANDING),
    ):  # fmt: skip
        spot = None if time_s is None else place(time_s)
        if spot is not None:
            label = words(f"{title}, {case.clock_text(time_s)}")
            marks.append(Trace(title, MARKERS, np.array([spot[0]]), np.array([spot[1]]), style, labels=(label,)))
    return marks


def came_down(statements):
    """ "fell", or "sank" where the statement about the fall says that it did."""
    fastest = statements.get("greatest_fall_speed")
    return "sank" if fastest and (fastest["text"] or "").startswith("It sank") else "fell"


def value(statements, key):
    """The value of a statement; None if there is no such statement or it has none."""
    found = statements.get(key)
    return None if found is None else found["value"]


def is_near(time_s, times_s, most_s=GAP_S):
    """True if a sample lies so near to this time that a mark there rests on data. times_s: sorted, float (n,)."""
    return len(times_s) > 0 and float(np.abs(times_s - time_s).min()) <= most_s


def told(statements, keys, fallback):
    """Words for those who cannot see a plot: the texts of these statements, as far as there are any."""
    texts = [statements[key] for key in keys if statements.get(key) and statements[key]["reason"] is None]
    if not texts:
        return words(fallback)
    return words(
        f"{fallback} " + " ".join(one["text"] for one in texts),
        f"{fallback} " + " ".join(one["text_imperial"] for one in texts),
    )


def table_of(case, kind):
    """The columns of a table: dict name -> array; None if the log has no such records."""
    table = case.flight.tables.get(kind)
    return None if table is None or len(table) == 0 else table.columns
