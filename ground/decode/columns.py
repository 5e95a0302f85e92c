"""Columns of a table: their names with units, their decimals, and raw fields made into them."""

import re
from dataclasses import dataclass

import numpy as np

_UNIT_WORDS = {"1": "", "%": "percent"}


@dataclass
class Column:
    name: str
    values: np.ndarray  # (n,); numbers are floats with NaN for missing, text has '' for missing
    decimals: int | None = None  # digits after the point that mean something; None if no number


def column_name(field_name, unit):
    """Give the heading of a field: its name, then its unit in characters safe for a heading.

    >>> column_name("speed", "m/s"), column_name("part", "1"), column_name("pressure_counts", "count")
    ('speed_m_s', 'part', 'pressure_counts')
    """
    name = _safe(field_name) or "field"
    if unit == "count":
        return name if name.endswith("_counts") else name + "_counts"
    word = _safe(_UNIT_WORDS.get(unit, unit))
    return f"{name}_{word}" if word else name


def _safe(text):
    return re.sub(r"[^0-9A-Za-z]+", "_", text).strip("_")


def decimals_of(divisor):
    """Give how many decimals write out a step of 1/divisor: all of them if it ends, else enough.

    >>> decimals_of(1), decimals_of(100), decimals_of(5_000_000), decimals_of(16), decimals_of(3)
    (0, 2, 7, 4, 2)
    """
    enough = len(str(abs(divisor) - 1)) if abs(divisor) > 1 else 0
    for decimals in range(enough, 3 * enough + 1):
        if 10**decimals % divisor == 0:
            return decimals
    return enough + 1


def field_numbers(layout_field, raw):
    """Give a numeric field in its unit.

    raw: integer array (n,) as stored. Returns a float array (n,), NaN for the missing value.
    """
    values = raw.astype(float) / layout_field.divisor
    values[raw == layout_field.missing] = np.nan
    return values


def field_text(raw):
    """Give a text field: bytes array (n,) in, str array (n,) out, without the padding zeros."""
    return np.array([_text(value) for value in raw.tolist()], dtype=object)


def _text(value):
    return value.rstrip(b"\0").decode("utf-8", "replace")


def generic_columns(kind_records, except_fields=()):
    """Make a column of every field as the layout describes it, in its order.

    kind_records: KindRecords. except_fields: names of fields to leave out.
    """
    columns = []
    for f in kind_records.layout.fields:
        if f.name in except_fields:
            continue
        raw = kind_records.values[f.name]
        name = column_name(f.name, f.unit)
        if f.wire.endswith("s"):
            columns.append(Column(name, field_text(raw)))
        else:
            columns.append(Column(name, field_numbers(f, raw), decimals_of(f.divisor)))
    return columns
