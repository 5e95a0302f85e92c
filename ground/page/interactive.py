"""A plot as plotly draws it in the page: its description in plain dicts, ready for JSON."""

import numpy as np

from ground.page.escape import for_plotly
from ground.page.layout import axis_name, layout_of
from ground.page.plot import BAND, MARKERS, unit_text

_SIGNIFICANT = 5  # digits of the range of an axis that the page keeps


def describe(plot):
    """Describe a Plot for report.js: a dict.

    "data" and "layout" are plotly's, without what depends on the units. "traces": a dict for each trace, its
    numbers in SI units and its texts as [metric, imperial]. "aspect": height over width of what has one scale on
    both axes, else None. "axes": name in the layout -> [scale, offset] of the imperial
    numbers; "titles": of x and of the panels, each [metric, imperial].
    """
    axes = {"x": plot.x, **{axis_name(number): panel.y for number, panel in enumerate(plot.panels)}}
    digits = {name: _digits(_values(plot, name)) for name in axes}
    data, parts = [], []
    for number, panel in enumerate(plot.panels):
        for trace in panel.traces:
            drawn, part = _trace(plot, panel, number, trace.thinned(), digits)
            if trace.shade is not None:
                # One scale of colours for all, and only the first shows it.
                part["shade_limits"] = plot.shade_limits()
                drawn["marker"]["showscale"] = not any("shade" in other for other in parts)
            data.append(drawn)
            parts.append(part)
    return {
        "id": plot.key,
        "aspect": _aspect(plot),
        "data": data,
        "layout": layout_of(plot),
        "traces": parts,
        "axes": {name: list(axis.conversion()) for name, axis in axes.items()},
        "titles": [_both(axis.title) for axis in axes.values()],
    }


def _aspect(plot):
    """How high the content of a plot with one scale is, for its width; None for other plots."""
    if not plot.equal:
        return None
    spans = [values[np.isfinite(values)] for values in (_values(plot, "x"), _values(plot, "y"))]
    wide, high = (float(np.ptp(span)) if len(span) else 0.0 for span in spans)
    return round(high / wide, 3) if wide > 0.0 else 1.0


def _both(of):
    return [for_plotly(of(False)), for_plotly(of(True))]


def _values(plot, name):
    """All numbers on an axis."""
    if name == "x":
        parts = [trace.x for trace in plot.traces]
    else:
        panel = plot.panels[int(name[1:] or 1) - 1]
        parts = [part for trace in panel.traces for part in (trace.y, trace.y_high) if part is not None]
    return np.concatenate(parts) if parts else np.zeros(0)


def _digits(values):
    """How many decimals show what an eye can see on an axis with these values."""
    values = values[np.isfinite(values)]
    span = float(np.ptp(values)) if len(values) else 0.0
    return int(np.clip(_SIGNIFICANT - 1 - np.floor(np.log10(span)), 0, 6)) if span > 0.0 else 4


def _numbers(values, digits):
    """Plain numbers with so many decimals; None where unknown, which breaks a line."""
    rounded = np.round(np.asarray(values, float), digits) + 0.0  # no "-0.0"
    return [value if value == value else None for value in rounded.tolist()]


def _trace(plot, panel, number, trace, digits):
    """(plotly's trace without its numbers, the numbers and texts in both units)."""
    style, y_name = trace.style, axis_name(number)
    name = for_plotly(trace.name)
    x, y = _numbers(trace.x, digits["x"]), _numbers(trace.y, digits[y_name])
    drawn = {"type": "scatter", "name": name, "mode": "lines", "xaxis": "x", "yaxis": y_name}
    part = {"x": x, "y": y, "axis": y_name}
    if trace.kind == BAND:
        high = _numbers(trace.y_high, digits[y_name])
        part["x"], part["y"] = _outline(x, y, high)
        drawn |= {
            "fill": "toself",
            "fillcolor": style.colour,
            "opacity": 0.35,
            "line": {"width": 0},
            "hoverinfo": "skip",
        }
        return drawn, part
    # Simplified lines lose what is shorter than a pixel, such as a rebuilt block.
    drawn["line"] = {"color": style.colour, "dash": style.dash, "width": style.width, "simplify": False}
    if style.mark:
        drawn["mode"] = "markers" if trace.kind == MARKERS else "lines+markers"
        drawn["marker"] = {"symbol": style.mark, "size": style.size, "color": style.colour}
    if trace.shade is not None:
        part["shade"] = _numbers(trace.shade, 1)
        part["shade_convert"] = list(trace.shade_axis.conversion())
        part["shade_title"] = _both(trace.shade_axis.title)
        drawn["marker"] |= {
            "colorscale": "Cividis",
            "colorbar": _colour_bar(),
            "line": {"width": 0},
        }
    if trace.error is not None:
        part["error"] = _numbers(trace.error, digits["x"])
        drawn["error_x"] = {"type": "data", "color": style.colour, "thickness": 1, "width": 2}
    if trace.labels:
        part["text"] = [[for_plotly(label.of(way)) for label in trace.labels] for way in (False, True)]
        part["hover"] = ["%{text}<extra>" + name + "</extra>"] * 2
    elif panel.y.labels or plot.x.labels:
        drawn["hoverinfo"] = "name"
    else:
        part["hover"] = [_hover(plot, panel, trace, name, way) for way in (False, True)]
    return drawn, part


def _hover(plot, panel, trace, name, imperial):
    """The template of what the pointer shows; units come from our own table, never from a file."""

    def shown(letter, axis):
        word = unit_text(axis.unit_name(imperial))
        decimals = 0 if axis.unit == "m" else 2 if axis.unit in ("V", "1") else 1
        return f"%{{{letter}:,.{decimals}f}} {word}".strip()

    rows = [shown("y", panel.y), shown("x", plot.x)]
    if trace.shade_axis is not None:
        rows.insert(0, shown("marker.color", trace.shade_axis))
    return "<br>".join(rows) + f"<extra>{name}</extra>"


def _outline(x, low, high):
    """The polygons around a band, one for each piece without a gap."""
    out_x, out_y, piece = [], [], []
    for row in [*zip(x, low, high, strict=True), (None, None, None)]:
        if None not in row:
            piece.append(row)
        elif piece:
            out_x += [point[0] for point in piece] + [point[0] for point in reversed(piece)] + [None]
            out_y += [point[1] for point in piece] + [point[2] for point in reversed(piece)] + [None]
            piece = []
    return out_x, out_y


def _colour_bar():
    return {
        "orientation": "h", "thickness": 12, "len": 0.9, "x": 0.5, "y": -0.2, "yanchor": "top", "outlinewidth": 0,
        "title": {"side": "top", "font": {"size": 12}}, "nticks": 5, "tickangle": 0,
        "exponentformat": "none", "separatethousands": True,
    }  # fmt: skip
