"""Read the tables of a recovered flight back from their CSV files."""

import csv
from pathlib import Path

import numpy as np

from ground.decode.tables import EVIDENCE_COLUMN, TIME_COLUMNS, Table
from ground.errors import LoftbookError

DERIVED = "seconds_since_launch"  # made anew by whoever needs it
TEXT_COLUMNS = {EVIDENCE_COLUMN, "event", "subject_name", "phase", "message", "why"}
_LONGEST_CELL = 1_000_000


def read_table(path) -> Table:
    """Read one table that `loftbook recover` wrote.

    path: Path of a KIND.csv. Columns that this program does not know are numbers if all their cells are.
    Raises LoftbookError, with the file and, where it is known, the line, if it is no such table.
    """
    path = Path(path)
    csv.field_size_limit(_LONGEST_CELL)
    try:
        with open(path, encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file)
            header = next(reader, [])
            rows = list(reader)
    except UnicodeDecodeError:
        raise LoftbookError(f"{path}: is not UTF-8 text; recover the flight again into a new folder") from None
    except csv.Error as error:
        raise LoftbookError(f"{path}: is not a CSV table ({error}); recover the flight again") from None
    missing = [name for name in TIME_COLUMNS if name not in header]
    if missing:
        raise LoftbookError(f"{path}, line 1: column {missing[0]} is missing; recover the flight again")
    if len(set(header)) != len(header):
        raise LoftbookError(f"{path}, line 1: a column name stands there twice; recover the flight again")
    wrong = next((number for number, row in enumerate(rows, 2) if len(row) != len(header)), None)
    if wrong is not None:
        raise LoftbookError(
            f"{path}, line {wrong}: has {len(rows[wrong - 2])} cells, the heading {len(header)}; recover it again"
        )
    cells = dict(zip(header, zip(*rows) if rows else [()] * len(header), strict=True))
    cells.pop(DERIVED, None)
    columns, decimals = {}, {}
    for name, column in cells.items():
        try:
            columns[name] = _values(name, column)
        except ValueError as error:
            raise LoftbookError(f"{path}: column {name}: {error}; recover the flight again") from None
        if columns[name].dtype.kind in "fi":
            decimals[name] = _decimals(column)
    return Table(path.stem, columns, decimals)


def _values(name, column):
    if name == "utc" or name.endswith("_utc"):
        return np.array([cell.removesuffix("Z") or "NaT" for cell in column], "datetime64[ms]")
    if name in ("boot", "tick_ms"):
        return np.array([int(cell) for cell in column], np.int64)
    if name not in TEXT_COLUMNS:
        try:
            return np.array([float(cell) if cell else np.nan for cell in column], float)
        except ValueError:
            pass
    return np.array(column, object)


def _decimals(column):
    example = next((cell for cell in column if cell), "")
    return len(example.partition(".")[2])
