"""Read a track, of whatever sort its file is."""

from pathlib import Path

from ground.errors import LoftbookError
from ground.tracks.csv_track import read_csv
from ground.tracks.folder_track import read_folder
from ground.tracks.gpx_track import read_gpx
from ground.tracks.track import Track

LARGEST_BYTES = 100_000_000


def read_track(path) -> Track:
    """Read the positions that another device exported.

    path: str or Path of a GPX file (1.0 or 1.1), of a table with a heading (CSV: comma, semicolon, tab or bar
    between the cells), or of a folder that `loftbook recover` made of a capture of the link. A file is known by
    what it holds, not by its name.
    Raises LoftbookError, one line: the file, the line and column where they are known, and what to do.
    """
    path = Path(path)
    if path.is_dir():
        return read_folder(path)
    try:
        with open(path, "rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise LoftbookError(
            f"{path}: cannot be read: {error.strerror}; give a GPX or CSV file of another device's positions"
        ) from None
    if len(data) > LARGEST_BYTES:
        raise LoftbookError(f"{path}: is larger than {LARGEST_BYTES // 1_000_000} MB; cut out the flight")
    text, is_sure = _decoded(data)
    if "\0" in text:
        raise LoftbookError(f"{path}: is no text; export the positions as GPX or CSV")
    notes = () if is_sure else ("it is not UTF-8 text; it was read as Windows-1252",)
    if text.lstrip().startswith("<"):
        return read_gpx(path, text, notes)
    return read_csv(path, text, notes)


def _decoded(data):
    """(text, whether its encoding is certain)"""
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        return data.decode(encoding), True
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace"), False
