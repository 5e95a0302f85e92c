"""The frame of a plot in the page: sizes, axes and words of the axes, as plotly takes them."""

from ground.page import looks
from ground.page.escape import for_plotly

_PANEL_PX = {1: 330, 2: 230}  # by the number of panels
_GAP_PX = 46  # between panels
_TOP_PX = 52  # for the buttons, and under them the words of the y axis


def axis_name(number):
    """The name of the y axis of a panel, by its number."""
    return "y" if number == 0 else f"y{number + 1}"


def layout_of(plot):
    """The layout without what depends on the units."""
    count = len(plot.panels)
    font = {"family": "system-ui, sans-serif", "size": 13, "color": looks.INK}
    shaded = any(trace.shade is not None for trace in plot.traces)
    grid = {
        "gridcolor": looks.PALE,
        "zeroline": False,
        "automargin": True,
        "linecolor": looks.GREY,
        "separatethousands": True,
        "ticks": "outside",
        "exponentformat": "none",
    }
    panel_px = _PANEL_PX.get(count, 200)
    inner_px = count * panel_px + (count - 1) * _GAP_PX
    bottom_px = 120 if shaded else 46
    layout = {
        "height": _TOP_PX + inner_px + bottom_px, "font": font, "showlegend": False,
        "paper_bgcolor": looks.PAPER, "plot_bgcolor": looks.PAPER, "hovermode": "closest", "separators": ". ",
        "margin": {"l": 12, "r": 12, "t": _TOP_PX, "b": bottom_px},
        "xaxis": {
            **grid, "anchor": axis_name(count - 1), "title": {"standoff": 8, "font": {"size": 13}},
            **_ticks(plot.x),
            **({"rangemode": "tozero"} if plot.x.from_zero else {}),
        },
        "annotations": [],
    }  # fmt: skip
    for number, panel in enumerate(plot.panels):
        top = 1.0 - number * (panel_px + _GAP_PX) / inner_px
        axis = {**grid, "domain": [round(max(top - panel_px / inner_px, 0.0), 4), round(top, 4)]}
        axis |= _ticks(panel.y)
        if plot.equal:
            axis |= {"scaleanchor": "x", "scaleratio": 1}
        layout[f"yaxis{'' if number == 0 else number + 1}"] = axis
        # The axis' words stand level above the panel: turned round they do not fit beside it on a phone.
        layout["annotations"].append({
            "text": "", "xref": "paper", "x": 0, "xanchor": "left", "yref": "paper", "y": round(top, 4),
            "yanchor": "bottom", "showarrow": False, "font": {"size": 13}, "align": "left",
        })  # fmt: skip
    return layout


def _ticks(axis):
    """Words for places, and the ends, of an axis that has them."""
    made = {} if axis.limits is None else {"range": list(axis.limits), "fixedrange": True}
    if axis.labels:
        made["tickvals"] = [place for place, _ in axis.labels]
        made["ticktext"] = [for_plotly(label) for _, label in axis.labels]
    return made
