"""A plot, described once for the page and for the pictures: what is drawn, in SI units, and in which words."""

from dataclasses import dataclass, replace

import numpy as np

from ground.page.thin import MOST_POINTS, thin
from ground.statements.quantity import Quantity, twin, unit_word
from ground.units import feet

LINE, MARKERS, BAND = "line", "markers", "band"


@dataclass(frozen=True)
class Axis:
    """words: what it shows, without the unit. unit: SI, as in quantity.py. climb: the imperial twin of m/s is
    ft/min. labels: tuple of (place, words) instead of numbers; limits: (begin, end) of the axis, or None.
    Both only where the unit has no imperial twin. from_zero: the x axis shows 0.
    """

    words: str
    unit: str = "1"
    climb: bool = False
    labels: tuple = ()
    limits: tuple | None = None
    from_zero: bool = False

    def title(self, imperial=False):
        """Its words with the unit."""
        word = unit_text(self.unit_name(imperial))
        return f"{self.words} ({word})" if word else self.words

    def unit_name(self, imperial=False):
        """The unit's name; the SI unit where there is no imperial twin."""
        return (twin(None, self.unit, self.climb)[0] if imperial else None) or self.unit

    def conversion(self):
        """(scale, offset) of the imperial number, scale * SI + offset; every twin is linear."""
        name, zero = twin(0.0, self.unit, self.climb)
        return (1.0, 0.0) if name is None else (float(twin(1.0, self.unit, self.climb)[1] - zero), float(zero))

    def imperial(self, values):
        """The values, a number or an array in SI, in imperial units."""
        scale, offset = self.conversion()
        return scale * values + offset


@dataclass(frozen=True)
class Words:
    """Text for readers of either kind of units."""

    metric: str
    imperial: str

    def of(self, imperial):
        """The text for one of them."""
        return self.imperial if imperial else self.metric


def unit_text(unit):
    """A unit as people read it."""
    return {"deg": "°", "deg/s": "°/s"}.get(unit) or unit_word(unit)


def words(text, imperial=None):
    """Words of a text that is the same for both, or of two texts."""
    return Words(text, text if imperial is None else imperial)


@dataclass(frozen=True)
class Trace:
    """kind: LINE, MARKERS, or BAND (between y and y_high). x, y: float arrays (n,), NaN breaks a line.
    style: a Style. labels: tuple of Words, one a point, shown where the pointer is; empty: the numbers are shown.
    shade: array (n,) that colours the points by the axis `shade_axis`. error: half length of the bars in x.
    is_whole: every point counts, as in bars with breaks between them.
    """

    name: str
    kind: str
    x: np.ndarray
    y: np.ndarray
    style: object
    y_high: np.ndarray | None = None
    labels: tuple = ()
    shade: np.ndarray | None = None
    shade_axis: Axis | None = None
    error: np.ndarray | None = None
    is_whole: bool = False

    def thinned(self):
        """The same with at most MOST_POINTS points; only what is drawn point by point stays as it is."""
        if self.labels or self.error is not None or self.is_whole or len(self.x) <= MOST_POINTS:
            return self
        if self.y_high is not None:
            keep = np.linspace(0, len(self.x) - 1, MOST_POINTS).astype(int)
        else:
            keep = thin(self.x, self.y)
        high = None if self.y_high is None else self.y_high[keep]
        shade = None if self.shade is None else self.shade[keep]
        return replace(self, x=self.x[keep], y=self.y[keep], y_high=high, shade=shade)


@dataclass(frozen=True)
class Panel:
    """One of the fields of a plot that stand above each other and share the x axis."""

    y: Axis
    traces: tuple


@dataclass(frozen=True)
class Plot:
    """key: its id. title: a Words, a sentence that says what it shows. heading: a few words. about: a Words,
    what a reader who cannot see it is told. panels: tuple of Panel. equal: both axes have one scale.
    notes: lines under it. table: as of a statement, see ground.statements.statement, or None; table_name: what it
    shows; folded: the page shows it only if asked.
    """

    key: str
    heading: str
    title: Words
    about: Words
    x: Axis
    panels: tuple
    equal: bool = False
    notes: tuple = ()
    table: dict | None = None
    table_name: str = ""
    folded: bool = False

    @property
    def traces(self):
        """The traces of all panels."""
        return [trace for panel in self.panels for trace in panel.traces]

    def shade_limits(self):
        """[least, greatest] of what colours points, over all traces, in SI units."""
        shades = np.concatenate([trace.shade for trace in self.traces if trace.shade is not None])
        known = shades[np.isfinite(shades)]
        return [round(float(known.min()), 1), round(float(known.max()), 1)] if len(known) else [0.0, 1.0]


@dataclass(frozen=True)
class NoPlot:
    """A plot that cannot be drawn, and the reason: half a sentence."""

    key: str
    heading: str
    reason: str
    notes: tuple = ()
    table: dict | None = None


def sentence(template, **parts):
    """Words of a sentence; parts: Quantity, Words or str."""

    def filled(imperial):
        return template.format(**{name: _of(part, imperial) for name, part in parts.items()})

    return Words(filled(False), filled(True))


def _of(part, imperial):
    if isinstance(part, Quantity):
        return part.imperial() if imperial else part.metric()
    return part.of(imperial) if isinstance(part, Words) else part


def rough_height(height_m):
    """A height for a title, as Words: 30.5 km, 100 000 ft; 780 m, 2 600 ft."""
    metric = Quantity(height_m / 1000.0, "km", 1) if abs(height_m) >= 1000.0 else Quantity(height_m, "m")
    return Words(metric.metric(), Quantity(round(feet(height_m), -2), "ft").metric())
