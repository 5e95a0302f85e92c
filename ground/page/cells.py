"""Tables of numbers as text in both kinds of units."""

from dataclasses import dataclass

import numpy as np

from ground.page.digits import decimals_of
from ground.page.plot import Words, words
from ground.statements.quantity import Quantity, twin, unit_word

UNKNOWN = "\u2013"
_DEGREES = ("latitude", "longitude")
_DECIMALS_OF_PLACES = 5  # of a degree: a metre
_SAME = {"degC": "K"}  # the uncertainty of a temperature is a difference


@dataclass(frozen=True)
class Head:
    """A column's heading; is_word: its cells are words, not numbers."""

    words: Words
    is_word: bool


@dataclass(frozen=True)
class WordTable:
    """heads: tuple of Head; rows: tuple of tuples of Words. name: for those who cannot see it."""

    name: str
    heads: tuple
    rows: tuple


def word_table(name, table):
    """Write a table {"columns": [[name, unit], ...], "rows": [[...], ...]} in SI units as a WordTable."""
    given = [[row[place] for row in table["rows"]] for place in range(len(table["columns"]))]
    most = _supported(table["columns"], given)
    columns = [
        _column(unit, cells, decimals)
        for (_, unit), cells, decimals in zip(table["columns"], given, most, strict=True)
    ]
    heads = tuple(
        Head(_heading(title, unit), is_word)
        for (title, unit), (_, is_word) in zip(table["columns"], columns, strict=True)
    )
    return WordTable(name, heads, tuple(zip(*(cells for cells, _ in columns), strict=True)))


def _heading(title, unit):
    metric, imperial = unit_word(unit or "1"), unit_word(twin(None, unit)[0] or unit or "1")
    return Words(*(f"{title} ({word})" if word else title for word in (metric, imperial)))


def _supported(columns, given):
    """The most decimals that each column may show in SI units: two digits of its own, if it says how uncertain
    another is; else as many as the uncertainty that follows it with its unit; None for no limit.
    """
    most = []
    for place, (title, unit) in enumerate(columns):
        if title.lower() in _DEGREES:
            most.append(_DECIMALS_OF_PLACES)
            continue
        later = zip(columns[place:], given[place:], strict=True)
        sure = [cells for (name, its), cells in later if _is_uncertainty(name) and _SAME.get(unit, unit) == its]
        known = _numbers(sure[0]) if sure else np.zeros(0)
        known = known[np.isfinite(known) & (known != 0.0)]
        most.append(decimals_of(float(np.abs(known).max())) if len(known) else None)
    return most


def _is_uncertainty(title):
    return "uncertainty" in title or "give or take" in title


def _numbers(cells):
    return np.array(
        [float(c) if isinstance(c, (int, float)) and not isinstance(c, bool) else np.nan for c in cells], float
    )


def _column(unit, cells, most=None):
    """(Words of each cell, whether they are words). most: decimals at most, in SI units."""
    is_word = any(isinstance(cell, str) for cell in cells)
    metric = _numbers(cells)
    imperial = twin(metric, unit)[1]
    shown = [_decimals(values) for values in (metric, metric if imperial is None else imperial)]
    if most == _DECIMALS_OF_PLACES and unit == "deg":
        shown = [most, most]
    elif most is not None:
        shown = [min(decimals, most) for decimals in shown]
    made = []
    for cell, si, us in zip(cells, metric, metric if imperial is None else imperial, strict=True):
        if cell is None or (isinstance(cell, float) and cell != cell):
            made.append(words(UNKNOWN))
        elif isinstance(cell, str) or isinstance(cell, bool):
            made.append(words(str(cell)))
        else:
            made.append(Words(*(Quantity(v, "1", d).metric() for v, d in zip((si, us), shown, strict=True))))
    return made, is_word


def _decimals(values):
    """Decimals that show three digits of the greatest number, none for whole numbers."""
    known = values[np.isfinite(values)]
    if len(known) == 0 or (known == np.round(known)).all():
        return 0
    greatest = float(np.abs(known).max())
    return int(np.clip(2 - np.floor(np.log10(greatest)), 0, 4))
