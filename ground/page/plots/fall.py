"""How fast it fell, by height, beside the fall of one parachute in that air."""

import numpy as np

from ground.page import looks
from ground.page.plot import LINE, Axis, NoPlot, Panel, Plot, Trace, sentence, words
from ground.page.plots.shared import GAP_S, came_down, told
from ground.statements.fall_found import find_fall
from ground.statements.quantity import Quantity

TITLE = "Fall"


def plot(case, statements):
    """The speed of the fall against height, and the settled speed that the same drag area would have."""
    found = case.once(find_fall)
    if found.reason or found.height_m is None or len(found.height_m) < 2:
        return NoPlot("fall", TITLE, found.reason or "the data hold no fall")
    speed_m_s, height_m = _whole(found)
    traces = [Trace("Measured", LINE, speed_m_s, height_m, looks.Style(looks.VERMILLION))]
    if np.isfinite(found.expected_m_s).any():
        name = "Settled fall of one drag area"
        traces.append(Trace(name, LINE, found.expected_m_s, found.height_m, looks.STANDARD))
    about = told(statements, ("greatest_fall_speed", "fall_curve", "landing_speed"), "Fall speed against height.")
    panel = Panel(Axis("Height above the sea", "m"), tuple(traces))
    return Plot("fall", TITLE, _title(statements), about, Axis("Fall speed", "m/s", from_zero=True), (panel,))


def _whole(found):
    """(speed_m_s, height_m) with a NaN in each gap, so that no line bridges it."""
    time_s = found.curve.time_s[found.curve.time_s >= found.start_s]
    if len(time_s) != len(found.height_m) or len(time_s) < 2:
        return found.speed_m_s, found.height_m
    steps_s = np.diff(time_s)
    gaps = np.flatnonzero(steps_s > max(GAP_S, 5.0 * float(np.median(steps_s)))) + 1
    return np.insert(found.speed_m_s, gaps, np.nan), np.insert(found.height_m, gaps, np.nan)


def _title(statements):
    top, landing = statements.get("greatest_fall_speed"), statements.get("landing_speed")
    if top is None or top["value"] is None or landing is None or landing["value"] is None:
        return words("How fast it fell, by height")
    decimals = 0 if top["value"] >= 10.0 else 1
    parts = {"top": Quantity(top["value"], "m/s", decimals), "landing": Quantity(landing["value"], "m/s", 1)}
    return sentence("It {moved} at up to {top} and landed at {landing}", moved=came_down(statements), **parts)
