"""How plots look: colours, dashes and marks, so that no meaning rests on colour alone.

Colours: the palette of M. Okabe and K. Ito, "Color Universal Design (CUD): How to make figures and presentations
that are friendly to colorblind people", 2002, revised 2008. Shades: cividis of J. R. Nunez, C. R. Anderton and
R. S. Renslow, "Optimizing colormaps with consideration for color vision deficiency", PLoS ONE 13 (7), 2018.
"""

from dataclasses import dataclass, replace

BLACK, ORANGE, SKY_BLUE, GREEN = "#000000", "#E69F00", "#56B4E9", "#009E73"
BLUE, VERMILLION, PURPLE = "#0072B2", "#D55E00", "#CC79A7"
GREY, PALE, INK, PAPER = "#6B6B6B", "#E3E3E3", "#1A1A1A", "#FFFFFF"
SHADES = "cividis"
PALETTE_SOURCE = "Okabe and Ito, Color Universal Design, 2008; cividis: Nunez et al., PLoS ONE 13 (7), 2018"

SOLID, DASH, DOT, DASH_DOT = "solid", "dash", "dot", "dashdot"


@dataclass(frozen=True)
class Style:
    """dash: SOLID, DASH, DOT or DASH_DOT. mark: '' or circle, square, diamond, cross, x, triangle-up,
    triangle-down, star. size: of a mark, width: of a line, px.
    """

    colour: str
    dash: str = SOLID
    width: float = 2.0
    mark: str = ""
    size: float = 9.0


FLOAT = Style(PURPLE, DASH_DOT, 2.5)
CLIMB, FALL, GROUND = Style(BLUE), Style(VERMILLION, DASH, 2.5), Style(GREY, DOT)
LAUNCH = Style(GREEN, mark="triangle-up", size=13)
BURST = Style(BLACK, mark="star", size=14)
LANDING = Style(VERMILLION, mark="triangle-down", size=13)
STANDARD = Style(BLACK, DASH_DOT, 1.5)
CYCLE = (
    Style(BLUE), Style(VERMILLION, DASH), Style(GREEN, DOT), Style(PURPLE, DASH_DOT), Style(ORANGE),
    Style(SKY_BLUE, DASH),
)  # fmt: skip


def style(index, **changes):
    """The style of the trace with this number, for traces of equal rank."""
    return replace(CYCLE[index % len(CYCLE)], **changes)
