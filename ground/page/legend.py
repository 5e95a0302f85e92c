"""What the signs in a plot mean: a small drawing for each trace, which the page shows under the plot."""

from ground.page.plot import BAND, MARKERS

_DASHES = {"solid": "", "dash": "6 3", "dot": "2 3", "dashdot": "7 3 2 3"}
# In a square from -1 to 1.
_MARKS = {
    "circle": "M-.8 0A.8 .8 0 1 0 .8 0A.8 .8 0 1 0-.8 0z", "square": "M-.75-.75H.75V.75H-.75z",
    "diamond": "M0-1L1 0L0 1L-1 0z", "triangle-up": "M0-1L1 .8H-1z", "triangle-down": "M0 1L1-.8H-1z",
    "x": "M-.9-.55L-.55-.9L0-.35L.55-.9L.9-.55L.35 0L.9 .55L.55 .9L0 .35L-.55 .9L-.9 .55L-.35 0z",
    "cross": "M-.25-1H.25V-.25H1V.25H.25V1H-.25V.25H-1V-.25H-.25z",
    "star": "M0-1L.24-.31L.95-.31L.38.12L.59.81L0 .4L-.59.81L-.38.12L-.95-.31L-.24-.31z",
}  # fmt: skip


def legend(plot):
    """Give a dict for each trace of a Plot, in order: name, colour, dash (SVG), width, mark (SVG path), is_band."""
    entries = []
    for trace in plot.traces:
        style = trace.style
        entries.append({
            "name": trace.name, "colour": style.colour, "dash": _DASHES[style.dash],
            "width": 0 if trace.kind == MARKERS else min(style.width, 12), "mark": _MARKS.get(style.mark, ""),
            "is_band": trace.kind == BAND,
        })  # fmt: skip
    return entries
