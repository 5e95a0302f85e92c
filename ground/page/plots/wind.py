"""The wind by layer of height, from the drift."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.winds import direction_from_deg
from ground.page import looks
from ground.page.plot import LINE, Axis, NoPlot, Panel, Plot, Trace, rough_height, sentence, words
from ground.page.plots.shared import told
from ground.statements.quantity import Quantity
from ground.statements.wind_facts import find_winds

TITLE = "Wind"
MOST_ARROWS = 16


@dataclass(frozen=True)
class Layer:
    """The wind of one layer. east_m_s, north_m_s: where the air goes. label: a Words for the pointer."""

    bottom_m: float
    top_m: float
    time_s: float
    east_m_s: float
    north_m_s: float
    uncertainty_m_s: float

    @property
    def speed_m_s(self):
        """Speed of the air."""
        return float(np.hypot(self.east_m_s, self.north_m_s))

    @property
    def label(self):
        """What the pointer shows."""
        return _label(self.bottom_m, self.top_m, self.east_m_s, self.north_m_s)


def layers(case):
    """The winds of at most MOST_ARROWS layers of the climb (of the fall, if there is no climb), from below."""
    found = _of_climb(case)
    if found is None or len(found) == 0:
        return []
    step = -(-len(found) // MOST_ARROWS)
    names = ("bottom_m", "top_m", "time_s", "east_m_s", "north_m_s", "uncertainty_m_s")
    return [Layer(*(float(getattr(found, name)[i]) for name in names)) for i in range(0, len(found), step)]


def plot(case, statements):
    """Speed of the wind against height, of the climb and of the fall, and where it came from."""
    traces = []
    for name, found, style, mark in parts(case):
        traces.append(Trace(
            name, LINE, found.speed_m_s, found.middle_m, looks.Style(style.colour, style.dash, 2.0, mark, 6),
            labels=labels(found), error=found.uncertainty_m_s,
        ))  # fmt: skip
    if not traces:
        return NoPlot("wind", TITLE, "the fixes show no drift by layer")
    about = told(statements, ("strongest_wind", "jet", "wind_shear"), "Wind speed against height, by layer.")
    panel = Panel(Axis("Height above the sea", "m"), tuple(traces))
    notes = ("The bars hold the true value in about 95 of 100 cases.",)
    return Plot(
        "wind", TITLE, _title(statements), about, Axis("Wind speed", "m/s", from_zero=True), (panel,), notes=notes
    )


def _label(bottom_m, top_m, east_m_s, north_m_s):
    return sentence(
        "{low} to {high}: {speed} from {degrees} deg",
        low=Quantity(float(bottom_m), "m"),
        high=Quantity(float(top_m), "m"),
        speed=Quantity(float(np.hypot(east_m_s, north_m_s)), "m/s", 0),
        degrees=f"{float(direction_from_deg(east_m_s, north_m_s)):.0f}",
    )


def labels(found):
    """What the pointer shows of each layer of WindLayers: tuple of Words."""
    columns = (found.bottom_m, found.top_m, found.east_m_s, found.north_m_s)
    return tuple(_label(*values) for values in zip(*columns, strict=True))


def _of_climb(case):
    found = parts(case)
    return found[0][1] if found else None


def parts(case):
    """(name, WindLayers, Style, mark) of the climb and of the fall, as far as there are any."""
    winds = case.once(find_winds)
    both = (("Climb", winds.climb, looks.CLIMB, "circle"), ("Fall", winds.fall, looks.FALL, "square"))
    return [part for part in both if len(part[1])]


def _title(statements):
    strongest = statements.get("strongest_wind")
    if strongest is None or strongest["value"] is None or strongest["height_m"] is None:
        return words("How strong the wind was, by height")
    speed, height = Quantity(strongest["value"], "m/s"), rough_height(strongest["height_m"])
    if "at least" in strongest["text"]:  # heights without fixes may have had more
        return sentence("The strongest wind known, {speed}, blew at {height}", speed=speed, height=height)
    return sentence("The strongest wind, {speed}, blew at {height}", speed=speed, height=height)
