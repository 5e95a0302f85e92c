"""The air's temperature against height, beside the standard atmosphere."""

from dataclasses import replace

import numpy as np

from ground.analyse.heights import covered
from ground.page import looks
from ground.page.plot import LINE, MARKERS, Axis, NoPlot, Panel, Plot, Trace, rough_height, sentence, words
from ground.page.plots.shared import GAP_S, stages, told
from ground.page.plots.thermometers import is_left_out
from ground.physics.atmosphere import geopotential_height_m, standard_temperature_k
from ground.statements.air_profile import find_profile, find_tropopauses
from ground.statements.quantity import Quantity
from ground.statements.thermometer import find_thermometer

TITLE = "Air temperature"
ZERO_DEGC_K = 273.15
_STEP_M = 250.0
_MARGIN_K = 3.0
_BEST = looks.Style(looks.GREEN, looks.SOLID, 5.0)
_TROPOPAUSE = looks.Style(looks.PURPLE, looks.DOT, 3.0)
_LEFT_OUT = looks.Style(looks.GREY, mark="x", size=6)
_MOST_LEFT_OUT = 200  # marks; more would only lie on each other
_MOST_OF_TOP = 0.9  # temperatures that end below this share of the flight's top say so in the title


def plot(case, statements):
    """The temperatures of climb and fall as measured, the profile that the statements rest on, the standard
    atmosphere, and the tropopauses.
    """
    thermometer = case.once(find_thermometer)
    if thermometer.series is None or len(thermometer.series) < 2:
        return NoPlot("temperature", TITLE, thermometer.reason or "no air temperature in the data")
    traces = _measured(case, thermometer)
    if not traces:
        return NoPlot("temperature", TITLE, "no height is known where the air's temperature was measured")
    profile = case.once(find_profile)
    notes = [f"Measured by the {thermometer.name}."]
    top_m = max(float(np.nanmax(trace.y)) for trace in traces)
    notes += _doubts(statements)
    if len(profile) and thermometer.constant_s > 0.0:
        celsius = profile.temperature_k - ZERO_DEGC_K
        # Below the others, so that it does not hide them.
        traces.insert(0, Trace("Corrected for the thermometer's slowness", LINE, celsius, profile.height_m, _BEST))
    highest_m = max(float(np.nanmax(trace.y)) for trace in traces)
    ladder_m = np.arange(0.0, highest_m + _STEP_M, _STEP_M)
    standard = standard_temperature_k(geopotential_height_m(ladder_m)) - ZERO_DEGC_K
    traces.append(Trace("Standard atmosphere (ISO 2533)", LINE, standard, ladder_m, looks.STANDARD))
    traces += _tropopauses(case, traces) + _left_out(case, thermometer)
    about = told(statements, ("coldest_air", "tropopause"), "Lines of air temperature against height.")
    panel = Panel(Axis("Height above the sea", "m"), tuple(traces))
    x = Axis("Air temperature", "degC")
    title = _title(case, statements, top_m)
    return Plot("temperature", TITLE, title, about, x, (panel,), notes=tuple(notes))


def _measured(case, thermometer):
    """A line for the climb and one for the fall, of the samples whose height is known."""
    air, heights, traces = thermometer.series, case.heights.combined, []
    air = air.where(covered(heights.time_s, air.time_s, GAP_S))
    for name, start_s, end_s, style in stages(case):
        part = air.between(start_s, end_s)
        if len(part) < 2 or style is looks.GROUND:
            continue
        height_m = np.interp(part.time_s, heights.time_s, heights["height_m"])
        gaps = np.flatnonzero(np.diff(part.time_s) > GAP_S) + 1
        x, y = np.insert(part[thermometer.column], gaps, np.nan), np.insert(height_m, gaps, np.nan)
        traces.append(Trace(f"Measured, {name.lower()}", LINE, x, y, style))
    return traces


def _tropopauses(case, traces):
    """A level line at each tropopause, a little wider than the others."""
    levels = case.once(find_tropopauses).levels
    x = np.concatenate([trace.x for trace in traces])
    across = np.linspace(np.nanmin(x) - _MARGIN_K, np.nanmax(x) + _MARGIN_K, 25)  # so that the pointer finds it
    traces = []
    for number, level in enumerate(levels):
        name = (
            "Tropopause"
            if number == 0
            else f"Further tropopause {number}"
            if len(levels) > 2
            else "Further tropopause"
        )
        label = sentence("{name} at {height}", name=name, height=Quantity(level.height_m, "m"))
        look = _TROPOPAUSE if number == 0 else replace(_TROPOPAUSE, dash=looks.DASH, width=2.0)
        traces.append(
            Trace(name, LINE, across, np.full(len(across), level.height_m), look, labels=(label,) * len(across))
        )
    return traces


def _left_out(case, thermometer):
    """Marks at readings that are no temperature of the air, such as those of a thermometer that stood still."""
    air, heights = thermometer.all, case.heights.combined
    if air is None or len(heights) < 2:
        return []
    wrong = air.where(is_left_out(case, thermometer.column, air.time_s))
    wrong = wrong.where(covered(heights.time_s, wrong.time_s, GAP_S))
    if len(wrong) == 0:
        return []
    wrong = wrong.where(np.unique(np.linspace(0, len(wrong) - 1, _MOST_LEFT_OUT).astype(int)))
    height_m = np.interp(wrong.time_s, heights.time_s, heights["height_m"])
    return [Trace("Left out: not the air's temperature", MARKERS, wrong[thermometer.column], height_m, _LEFT_OUT)]


def _doubts(statements):
    """Lines about what was left out or may be wrong, in the words of the statement about it."""
    trust = statements.get("thermometer_trust")
    if trust is None or trust["value"] is None or not trust["caveats"]:
        return []
    return ["Take care: " + "; ".join(trust["caveats"]) + "."]


def _title(case, statements, top_m):
    coldest = statements.get("coldest_air")
    if coldest is None or coldest["value"] is None:
        if top_m < _MOST_OF_TOP * float(np.max(case.heights.combined["height_m"])):
            return sentence("The air's temperature is known up to {top} only", top=rough_height(top_m))
        return words("The air's temperature, by height")
    value = Quantity(coldest["value"], "degC")
    if coldest["height_m"] is None:
        return sentence("The coldest air was at {value}", value=value)
    return sentence(
        "The coldest air, {value}, was at {height}", value=value, height=rough_height(coldest["height_m"])
    )
