"""Where the wind came from, by height."""

import numpy as np

from ground.page import looks
from ground.page.plot import MARKERS, Axis, NoPlot, Panel, Plot, Trace, words
from ground.page.plots.shared import told
from ground.page.plots.wind import labels, parts

TITLE = "Wind direction"
_POINTS = ((0, "north"), (90, "east"), (180, "south"), (270, "west"), (360, "north"))


def plot(case, statements):
    """Where the wind of each layer came from; in marks, since a line would run round from north to north."""
    traces = []
    for name, found, style, mark in parts(case):
        look = looks.Style(style.colour, style.dash, 0.0, mark, 8)
        traces.append(Trace(name, MARKERS, np.asarray(found.from_deg), found.middle_m, look, labels=labels(found)))
    if not traces:
        return NoPlot("direction", TITLE, "the fixes show no drift by layer")
    about = told(
        statements, ("strongest_wind", "surface_wind"), "The direction of the wind against height, by layer."
    )
    x = Axis("Direction that the wind came from", "1", labels=_POINTS, limits=(-15.0, 375.0))
    panel = Panel(Axis("Height above the sea", "m"), tuple(traces))
    return Plot("direction", TITLE, words("Where the wind came from, by height"), about, x, (panel,))
