"""A plot as a picture, drawn by matplotlib from the same description as the one in the page."""

import textwrap
import warnings

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from ground.page import looks
from ground.page.escape import clean, for_matplotlib, tie
from ground.page.plot import BAND, MARKERS

DPI = 160
WIDTH_IN = 12.0  # 1920 px
_HEIGHT_IN = {1: 7.2, 2: 9.0}
_TITLE_COLUMNS = 70
_PAD_IN = 0.12
_DASHES = {"solid": "-", "dash": "--", "dot": ":", "dashdot": "-."}
_MARKS = {
    "circle": "o", "square": "s", "diamond": "D", "triangle-up": "^", "triangle-down": "v", "x": "X", "cross": "P",
    "star": "*", "": "",
}  # fmt: skip
_POINTS_A_PX = 0.9  # sizes of the page, in px, as points


def write_picture(path, plot, source, imperial=False):
    """Write a Plot as a PNG, 1920 px wide. path: Path. source: a line for the foot of it."""
    figure = make_figure(plot, source, imperial)
    about = {"Title": clean(plot.title.of(imperial)), "Description": clean(plot.about.of(imperial))}
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")  # a name may hold letters that the font lacks
        figure.savefig(path, format="png", metadata=about)


def make_figure(plot, source, imperial=False):
    """Draw a Plot as a matplotlib Figure."""
    figure = Figure((WIDTH_IN, _HEIGHT_IN.get(len(plot.panels), 4.5 * len(plot.panels))), DPI, layout="constrained")
    FigureCanvasAgg(figure)
    figure.get_layout_engine().set(h_pad=_PAD_IN)
    fields = figure.subplots(len(plot.panels), 1, sharex=True, squeeze=False)[:, 0]
    for axes, panel in zip(fields, plot.panels, strict=True):
        _draw_panel(figure, axes, plot, panel, imperial)
    fields[-1].set_xlabel(for_matplotlib(plot.x.title(imperial)))
    title = "\n".join(textwrap.wrap(tie(for_matplotlib(plot.title.of(imperial))), _TITLE_COLUMNS))
    figure.suptitle(title, fontsize=19, fontweight="bold", color=looks.INK)
    _legend(figure, fields)
    figure.text(0.995, 0.005, for_matplotlib(source), ha="right", va="bottom", fontsize=9, color=looks.GREY)
    return figure


def _draw_panel(figure, axes, plot, panel, imperial):
    for number, trace in enumerate(panel.traces):
        _draw(figure, axes, plot, panel, trace.thinned(), imperial, 2.5 + 0.01 * number)
    axes.grid(color=looks.PALE)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_title(for_matplotlib(panel.y.title(imperial)), loc="left", fontsize=13)
    axes.tick_params(labelsize=12)
    axes.xaxis.label.set_size(13)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(_grouped)
    for axis, ticks, limits in (
        (plot.x, axes.set_xticks, axes.set_xlim),
        (panel.y, axes.set_yticks, axes.set_ylim),
    ):
        if axis.labels:
            ticks([place for place, _ in axis.labels], [for_matplotlib(label) for _, label in axis.labels])
        if axis.limits is not None:
            limits(*axis.limits)
        elif axis.from_zero:
            limits(min(0.0, *axes.get_xlim()), None)
    if plot.equal:
        axes.set_aspect("equal", adjustable="datalim")


def _draw(figure, axes, plot, panel, trace, imperial, above):
    def shown(axis, values):
        return axis.imperial(values) if imperial else values

    style, name = trace.style, for_matplotlib(trace.name)
    x, y = shown(plot.x, trace.x), shown(panel.y, trace.y)
    if trace.kind == BAND:
        axes.fill_between(x, y, shown(panel.y, trace.y_high), color=style.colour, alpha=0.35, lw=0, label=name)
        return
    if trace.shade is not None:
        size = (style.size * _POINTS_A_PX) ** 2
        least, most = (shown(trace.shade_axis, limit) for limit in plot.shade_limits())
        points = axes.scatter(
            x, y, size, shown(trace.shade_axis, trace.shade), marker=_MARKS[style.mark], cmap=looks.SHADES,
            vmin=least, vmax=most, zorder=above,
        )  # fmt: skip
        axes.plot([], [], color=style.colour, linestyle="none", marker=_MARKS[style.mark], label=name)
        if name != for_matplotlib(next(one.name for one in panel.traces if one.shade is not None)):
            return
        bar = figure.colorbar(points, ax=axes, shrink=0.8, pad=0.01, format=_grouped)
        bar.set_label(for_matplotlib(trace.shade_axis.title(imperial)), fontsize=12)
        return
    dash = "none" if trace.kind == MARKERS else _DASHES[style.dash]
    if trace.error is not None:
        scale = plot.x.conversion()[0] if imperial else 1.0
        axes.errorbar(x, y, xerr=scale * trace.error, fmt="none", ecolor=style.colour, elinewidth=0.8, capsize=2)
    axes.plot(
        x, y, color=style.colour, linestyle=dash, linewidth=style.width * _POINTS_A_PX, marker=_MARKS[style.mark],
        markersize=style.size * _POINTS_A_PX, label=name, zorder=above + (1.0 if trace.kind == MARKERS else 0.0),
        solid_capstyle="butt",
    )  # fmt: skip


def _grouped(value, _position=None):
    """A number of an axis, its digits in groups of three."""
    return f"{float(np.round(value, 6)):,.12g}".replace(",", "\u00a0").replace("-", "\u2212")


def _legend(figure, fields):
    handles, labels = [], []
    for axes in fields:
        for handle, label in zip(*axes.get_legend_handles_labels(), strict=True):
            if label not in labels:
                handles.append(handle)
                labels.append(label)
    columns = max(1, min(len(labels), 110 // (8 + max(map(len, labels), default=1))))
    figure.legend(handles, labels, loc="outside lower center", ncols=columns, frameon=False, fontsize=12)
