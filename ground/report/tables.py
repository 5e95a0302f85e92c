"""Tables as CSV: a heading with units, one record a line, empty cells for what is missing."""

import csv

import numpy as np

from ground.analyse import seconds_since_launch

ROWS_AT_ONCE = 20_000  # bounds the memory that the text of a table takes


def write_table(path, table, launch):
    """Write a Table as CSV (RFC 4180, UTF-8, lines end in a line feed).

    path: file to create. table: Table. launch: Moment that seconds_since_launch counts from, or None.
    Numbers have the decimals that their sensor resolves; times are ISO 8601 in UTC with milliseconds.
    """
    columns = {"utc": table.columns["utc"]}
    columns["seconds_since_launch"] = np.full(len(table), np.nan)
    if launch is not None:
        columns["seconds_since_launch"] = seconds_since_launch(table, launch)
    columns |= {name: values for name, values in table.columns.items() if name != "utc"}
    decimals = {**table.decimals, "seconds_since_launch": 3}
    with open(path, "w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerow(columns)
        for start in range(0, len(table), ROWS_AT_ONCE):
            rows = slice(start, start + ROWS_AT_ONCE)
            cells = [_cells(values[rows], decimals.get(name, 0)) for name, values in columns.items()]
            file.writelines(",".join(row) + "\n" for row in zip(*cells, strict=True))


def _cells(values, decimals):
    if values.dtype.kind == "M":
        text = np.datetime_as_string(values.astype("datetime64[ms]"))
        return ["" if cell == "NaT" else cell + "Z" for cell in text.tolist()]
    if values.dtype.kind == "f":
        style = f"%.{decimals}f"
        rounded = np.round(values, decimals) + 0.0  # adding 0 turns -0.0 into 0.0
        return [style % value if value == value else "" for value in rounded.tolist()]
    if values.dtype.kind == "i":
        return list(map(str, values.tolist()))
    return [_quoted(cell) for cell in values.tolist()]


def _quoted(cell):
    """A cell as RFC 4180 (2.6, 2.7) wants it: in quotes if it holds a comma, a quote or the end of a line."""
    text = str(cell)
    if any(character in text for character in ',"\n\r'):
        return '"' + text.replace('"', '""') + '"'
    return text
