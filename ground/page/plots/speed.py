"""How fast it moved: upwards and downwards, and over ground."""

import numpy as np

from ground.analyse.extremes import height_rate_m_s
from ground.analyse.heights import valid_fixes
from ground.analyse.series import running_median
from ground.page import looks
from ground.page.plot import LINE, Axis, NoPlot, Panel, Plot, Trace, sentence, words
from ground.page.plots.shared import broken, came_down, line_of, minutes, stages, time_axis, told
from ground.statements.quantity import Quantity
from ground.units import feet_per_minute

TITLE = "Speed"
_SMOOTH_SAMPLES = 5
_LEAST_BY_AIR = 30  # a few single samples are no line
_BY_AIR = looks.Style(looks.ORANGE, looks.SOLID, 1.5)


def plot(case, statements):
    """Vertical speed, and speed over ground, over time; both as running medians of 5 samples."""
    (vertical, called), over_ground = _vertical(case), _over_ground(case)
    panels = [panel for panel in (vertical, over_ground) if panel]
    if not panels:
        return NoPlot("speed", TITLE, "there are neither heights nor fixes with a speed in the data")
    notes = (
        (f"Vertical speed is {called}; all speeds are medians of {_SMOOTH_SAMPLES} samples.",) if vertical else ()
    )
    keys = ("climb_rate", "greatest_fall_speed", "greatest_ground_speed")
    about = told(statements, keys, "Lines of vertical speed and of speed over ground, over time.")
    return Plot("speed", TITLE, _title(statements), about, time_axis(case), tuple(panels), notes=notes)


def _vertical(case):
    own = valid_fixes(case.timeline, ("vertical_speed_m_s",))
    heights = case.heights.combined
    if len(own) >= 0.8 * max(len(case.heights.gnss), 1) and len(own) > 2:
        series, name, called = own, "vertical_speed_m_s", "the GNSS receiver's own"
    else:
        rate = height_rate_m_s(heights.time_s, heights["height_m"])
        series = heights.with_value("rate", rate, heights.source).where(np.isfinite(rate))
        name, called = "rate", "the change of height"
    if len(series) < 3:
        return None, ""
    series = series.with_value(name, running_median(series[name], _SMOOTH_SAMPLES), series.source)
    traces = []
    for stage, start_s, end_s, style in stages(case):
        trace = line_of(case, series.between(start_s, end_s), name, stage, style)
        if trace is not None:
            traces.append(trace)
    if name != "rate":
        traces += _by_air(case, heights)
    return Panel(Axis("Vertical speed, up is positive", "m/s", climb=True), tuple(traces)), called


def _by_air(case, heights):
    """The change of height by air pressure where there was no fix: list of one Trace, or of none."""
    rate = running_median(height_rate_m_s(heights.time_s, heights["height_m"]), _SMOOTH_SAMPLES)
    series = heights.with_value("rate", rate, heights.source)
    series = series.where(np.isfinite(rate) & (heights["from_fix"] == 0))
    series = series.between(case.window.start_s, case.window.end_s)
    trace = line_of(case, series, "rate", "From air pressure, no fix", _BY_AIR)
    return [] if trace is None or len(series) < _LEAST_BY_AIR else [trace]


def _over_ground(case):
    fixes = valid_fixes(case.timeline, ("ground_speed_m_s",))
    if len(fixes) < 3:
        return None
    smooth = running_median(fixes["ground_speed_m_s"], _SMOOTH_SAMPLES)
    time_s, speed = broken(fixes.with_value("smooth", smooth, fixes.source), "smooth")
    trace = Trace("Over ground", LINE, minutes(case, time_s), speed, looks.Style(looks.GREEN))
    return Panel(Axis("Speed over ground", "m/s"), (trace,))


def _title(statements):
    climb, fall = statements.get("climb_rate"), statements.get("greatest_fall_speed")
    if not climb or climb["value"] is None or not fall or fall["value"] is None:
        return words("How fast it moved, up and down and over ground")
    up = Quantity(climb["value"], "m/s", 1, True)
    feet = round(feet_per_minute(fall["value"]), -2)
    slow = fall["value"] < 10.0
    down = words(Quantity(fall["value"], "m/s", int(slow)).metric(), Quantity(feet, "ft/min").metric())
    text = "It climbed at {up} on average, and {moved} at up to {down}"
    return sentence(text, up=up, down=down, moved=came_down(statements))
