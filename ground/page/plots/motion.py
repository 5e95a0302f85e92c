"""How the payload was shaken, turned and swung."""

import numpy as np

from ground.analyse.series import Series
from ground.page import looks
from ground.page.plot import LINE, Axis, NoPlot, Panel, Plot, Trace, sentence, words
from ground.page.plots.shared import broken, minutes, time_axis, told
from ground.physics.atmosphere import STANDARD_GRAVITY_M_S2
from ground.statements.motion import find_motion
from ground.statements.quantity import Quantity

TITLE = "Motion"
_FORCE, _TURN, _LEAN = (looks.Style(colour, width=1.2) for colour in (looks.BLUE, looks.VERMILLION, looks.PURPLE))
_GAP_S = 2.0


def plot(case, statements):
    """The force felt, the turning and, where it is known which way is up, the leaning, over time."""
    found = case.once(find_motion)
    if len(found.time_s) < 2:
        reason = "the motion sensor stood still" if found.frozen else "no motion data in this flight"
        return NoPlot("motion", TITLE, reason)
    force_g = np.linalg.norm(found.force, axis=1) / STANDARD_GRAVITY_M_S2
    ends = minutes(case, found.time_s[[0, -1]])
    still = Trace("Lying still, 1 g", LINE, ends, np.ones(2), looks.STANDARD)
    panels = [Panel(Axis("Force felt", "g"), (_line(case, found, force_g, "Force felt", _FORCE), still))]
    if np.isfinite(found.spin_deg_s).any():
        turning = _line(case, found, found.spin_deg_s, "Spin about the vertical", _TURN)
        panels.append(Panel(Axis("Spin about the vertical", "deg/s"), (turning,)))
    elif np.isfinite(found.rate).any():
        turning = _line(case, found, np.linalg.norm(found.rate, axis=1), "Turning, all axes together", _TURN)
        panels.append(Panel(Axis("Turning", "deg/s"), (turning,)))
    lean_deg = np.abs(found.tilt)
    if np.isfinite(lean_deg).any():
        panels.append(
            Panel(Axis("Leaning from the vertical", "deg"), (_line(case, found, lean_deg, "Leaning", _LEAN),))
        )
    keys = ("burst_shock", "landing_shock", "spin", "swing", "tumbling")
    about = told(statements, keys, "Lines of the force felt and of turning, over time.")
    return Plot("motion", TITLE, _title(statements), about, time_axis(case), tuple(panels))


def _line(case, found, values, called, style):
    none = np.zeros(len(values), int)
    time_s, values = broken(Series(found.time_s, {"size": values}, none, none, ""), "size", _GAP_S)
    return Trace(called, LINE, minutes(case, time_s), values, style)


def _title(statements):
    blow = statements.get("burst_shock")
    if blow is None or blow["value"] is None or blow["unit"] != "g" or blow["confidence"] == "low":
        return words("How the payload was shaken and turned")
    return sentence("When the fall began, the box felt {blow}", blow=Quantity(blow["value"], "g", 1))
