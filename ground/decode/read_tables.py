"""Read the tables of a recovered flight back from their CSV files."""

import csv
import io
from pathlib import Path

import numpy as np

from ground.decode.plain_cells import plain_cells
from ground.decode.tables import EVIDENCE_COLUMN, TIME_COLUMNS, Table
from ground.errors import LoftbookError
from ground.layout import OWN_KINDS

DERIVED = "seconds_since_launch"  # made anew by whoever needs it
TEXT_COLUMNS = {EVIDENCE_COLUMN, "event", "subject_name", "phase", "message", "characters", "why"}
_LONGEST_CELL = 1_000_000
_OWN = {kind.name for kind in OWN_KINDS}  # their columns that are no text are numbers


def read_table(path) -> Table:
    """Read one table that `loftbook recover` wrote.

    path: Path of a KIND.csv. Columns that this program does not know are numbers if all their cells are.
    Raises LoftbookError, with the file and, where it is known, the line, if it is no such table.
    """
    path = Path(path)
    data = path.read_bytes().removeprefix(b"\xef\xbb\xbf")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        raise LoftbookError(f"{path}: is not UTF-8 text; recover the flight again into a new folder") from None
    plain = plain_cells(data)
    header, cells = (plain.header, []) if plain else _by_csv(path, text)
    _check_heading(path, header)
    columns, decimals = {}, {}
    for number, name in enumerate(header):
        if name == DERIVED:
            continue
        try:
            found = _fast(plain, number, name) if plain else None
            values, digits = found or _values(path.stem, name, plain.texts(number) if plain else cells[number])
        except ValueError as error:
            raise LoftbookError(f"{path}: column {name}: {error}; recover the flight again") from None
        columns[name] = values
        if values.dtype.kind in "fi":
            decimals[name] = digits
    return Table(path.stem, columns, decimals)


def _check_heading(path, header):
    missing = [name for name in TIME_COLUMNS if name not in header]
    if missing:
        raise LoftbookError(f"{path}, line 1: column {missing[0]} is missing; recover the flight again")
    if len(set(header)) != len(header):
        raise LoftbookError(f"{path}, line 1: a column name stands there twice; recover the flight again")


def _by_csv(path, text):
    """(heading, columns of cells) of any CSV text."""
    csv.field_size_limit(_LONGEST_CELL)
    try:
        reader = csv.reader(io.StringIO(text, newline=""))
        header = next(reader, [])
        rows = list(reader)
    except csv.Error as error:
        raise LoftbookError(f"{path}: is not a CSV table ({error}); recover the flight again") from None
    _check_heading(path, header)
    wrong = next((number for number, row in enumerate(rows, 2) if len(row) != len(header)), None)
    if wrong is not None:
        raise LoftbookError(
            f"{path}, line {wrong}: has {len(rows[wrong - 2])} cells, the heading {len(header)}; recover it again"
        )
    return header, list(zip(*rows, strict=True)) if rows else [()] * len(header)


def _fast(plain, number, name):
    """(values, decimals) of a column, or None if it must be read cell by cell."""
    if _is_utc(name):
        times = plain.times(number)
        return None if times is None else (times, 0)
    found = None if name in TEXT_COLUMNS else plain.numbers(number)
    if found is None or name not in ("boot", "tick_ms"):
        return found
    values, decimals = found
    return None if decimals or np.isnan(values).any() or (values % 1).any() else (values.astype(np.int64), 0)


def _is_utc(name):
    return name == "utc" or name.endswith("_utc")


def _number(cell):
    """A number, NaN for an empty cell and for what is not finite, None for anything else."""
    try:
        number = float(cell) if cell else np.nan
    except ValueError:
        return None
    return number if np.isfinite(number) else np.nan


def _values(kind, name, column):
    """(values, decimals) of a column of text."""
    if _is_utc(name):
        return np.array([cell.removesuffix("Z") or "NaT" for cell in column], "datetime64[ms]"), 0
    if name in ("boot", "tick_ms"):
        return np.array([int(cell) for cell in column], np.int64), 0
    if name not in TEXT_COLUMNS:
        numbers = [_number(cell) for cell in column]
        wrong = next((row for row, number in enumerate(numbers) if number is None), None)
        if wrong is None:
            return np.array(numbers, float), _decimals(column)
        if kind in _OWN and sum(number == number for number in numbers if number is not None) > len(column) // 2:
            raise ValueError(f"line {wrong + 2} holds {column[wrong][:40]!r}, which is no number")
    return np.array(column, object), 0


def _decimals(column):
    example = next((cell for cell in column if cell), "")
    return len(example.partition(".")[2])
