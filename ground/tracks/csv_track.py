"""Read a track from a table of text with a heading (CSV), as general as such tables are."""

import csv
import io
import re

import numpy as np

from ground.errors import LoftbookError
from ground.tracks.headings import find_headings
from ground.tracks.times import Times, day_comes_first
from ground.tracks.track import make_track

DELIMITERS = (",", ";", "\t", "|")
HEADING_WITHIN = 30  # lines: some exports begin with remarks
LONGEST_CELL = 100_000
WRONG_SHARE = 0.5  # if so many rows hold no position, it is no such table
_NOTHING = {"", "-", "--", "n/a", "na", "nan", "null", "none", "?"}
_PLAIN = re.compile(
    r"^([nsew]?)\s*([+-]?\d+(?:\.\d*)?|[+-]?\.\d+)(?:e([+-]?\d{1,2}))?\s*°?\s*([nsew]?)$", re.IGNORECASE | re.ASCII
)
_MINUTES = re.compile(r"\d\s*[°º:'′’\s]\s*\d")


def read_csv(path, text, notes=()):
    """Give the Track in the text of a CSV table. path: for messages and the name. Raises LoftbookError."""
    start, delimiter, headings = _find_heading(path, text)
    if headings.moment is None and headings.time is None:
        raise LoftbookError(
            f"{path}, line {start + 1}: no heading names a time; "
            f"call the columns time, latitude, longitude, height_m"
        )
    rows = _rows(path, text, start, delimiter, len(headings.names))
    time_ms, time_notes = _times(path, rows, headings)
    columns = [_numbers(path, rows, headings, index) for index in (headings.latitude, headings.longitude)]
    outside = (np.abs(columns[0]) > 90.0) | (np.abs(columns[1]) > 360.0)
    if outside.sum() > WRONG_SHARE * len(rows):
        first = int(np.argmax(outside))
        raise LoftbookError(
            f"{path}, line {rows[first][0]}: {columns[0][first]:g}, {columns[1][first]:g} is no latitude and "
            f"longitude; export them in decimal degrees"
        )
    height = _numbers(path, rows, headings, headings.height, is_angle=False)
    time_utc = np.array(time_ms, "datetime64[ms]")
    made, left_out = make_track(
        path.stem, time_utc, *columns, height * headings.metres, [*notes, *headings.notes, *time_notes]
    )
    if made is None:
        why = f" ({left_out[-1]})" if left_out and rows else ""
        raise LoftbookError(f"{path}: holds no row with time and position{why}; export the positions again")
    return made


def _find_heading(path, text):
    """(line index, delimiter, Headings)"""
    lines = [line for line, _ in zip(io.StringIO(text, newline=""), range(HEADING_WITHIN))]
    for index, line in enumerate(lines):
        for delimiter in DELIMITERS:
            try:
                cells = next(csv.reader([line.lstrip("#")], delimiter=delimiter), [])
            except csv.Error:
                continue
            headings = find_headings(cells)
            if headings and headings.latitude != headings.longitude:
                return index, delimiter, headings
    raise LoftbookError(
        f"{path}: none of its first {max(len(lines), 1)} lines is a heading with latitude and longitude; "
        f"call the columns time, latitude, longitude, height_m"
    )


def _rows(path, text, start, delimiter, width):
    """(line number, cells) of each row below the heading; remarks, and rows that break off, are left out."""
    csv.field_size_limit(LONGEST_CELL)
    file = io.StringIO(text, newline="")
    for _ in range(start + 1):
        file.readline()
    reader = csv.reader(file, delimiter=delimiter)
    rows = []
    try:
        for cells in reader:
            if len(cells) >= min(width, 3) and not cells[0].startswith("#"):
                rows.append((start + 1 + reader.line_num, cells + [""] * (width - len(cells))))
    except csv.Error as error:
        line = start + 1 + reader.line_num
        raise LoftbookError(f"{path}, line {line}: {error}; export it again as CSV") from None
    return rows


def _times(path, rows, headings):
    """(list of ms or None, notes)"""
    texts, index = _time_texts(rows, headings)
    times, found = Times(day_comes_first(texts)), []
    for (line, _), text in zip(rows, texts, strict=True):
        if text.lower() in _NOTHING or text.strip("0 .:-/") == "":
            found.append(None)
            continue
        try:
            found.append(times.read(text))
        except ValueError as error:
            raise LoftbookError(
                f"{path}, line {line}, column {headings.names[index]}: {text[:40]!r} {error}; "
                f"write date and time as 2026-11-21T09:30:00Z"
            ) from None
    notes = []
    if times.lacks_zone and not headings.says_utc:
        notes.append("its times do not say their time zone; UTC was assumed")
    return found, notes


def _time_texts(rows, headings):
    """(texts, index of the column that messages name): of one column, or of two that hold date and time."""
    if headings.moment is not None:
        return [cells[headings.moment].strip() for _, cells in rows], headings.moment
    alone = [cells[headings.time].strip() for _, cells in rows]
    first = next((text for text in alone if text.lower() not in _NOTHING), "")
    try:
        Times(day_first=True).read(first)
    except ValueError:
        both = zip((cells[headings.date].strip() for _, cells in rows), alone, strict=True)
        return [f"{date} {time}" if date and time else "" for date, time in both], headings.time
    return alone, headings.time


def _numbers(path, rows, headings, index, is_angle=True):
    """Float array (n,) of a column, NaN for missing; all NaN without a column."""
    values = np.full(len(rows), np.nan)
    if index is None:
        return values
    for i, (line, cells) in enumerate(rows):
        cell = cells[index].strip()
        if cell.lower() in _NOTHING:
            continue
        try:
            values[i] = _angle(cell) if is_angle else _number(re.sub(r"(?<=\d)[\s'’](?=\d)", "", cell))
        except ValueError as error:
            raise LoftbookError(
                f"{path}, line {line}, column {headings.names[index]}: {cell[:40]!r} {error}"
            ) from None
    return values


def _angle(cell):
    if _MINUTES.search(cell):
        raise ValueError("is in degrees and minutes; export decimal degrees, such as 47.0321")
    return _number(cell)


def _number(cell):
    """A number with a decimal point or comma, and perhaps a letter for the side of the world."""
    text = cell
    if "," in text and "." in text:  # the other one parts thousands
        text = text.replace("." if text.rfind(",") > text.rfind(".") else ",", "")
    found = _PLAIN.match(text.replace(",", "."))
    if not found:
        raise ValueError("is no number; write it such as 47.0321")
    before, digits, exponent, after = found.groups()
    value = float(digits) * 10.0 ** int(exponent or 0)
    return -value if (before + after).lower() in ("s", "w") else value
