"""Read a track out of a capture of the link that was recovered into a folder of its own."""

import numpy as np

from ground.analyse.series import is_numbers
from ground.decode.read_tables import read_table
from ground.errors import LoftbookError
from ground.tracks.track import make_track

SAME_FIX = np.timedelta64(2000, "ms")  # a beacon's age is in whole seconds: it may speak of a fix that was heard


def read_folder(folder):
    """Give the Track of the beacons and fixes in a recovered folder (Path).

    Raises LoftbookError if there are none with UTC.
    """
    parts = []
    for kind in ("fix", "beacon"):
        path = folder / f"{kind}.csv"
        if path.is_file():
            parts.append(_positions(read_table(path)))
    if not parts:
        raise LoftbookError(
            f"{folder}: holds no beacon.csv or fix.csv; give a folder that loftbook recover made of a capture"
        )
    columns = parts[0]
    if len(parts) > 1:
        new = _are_new(parts[1][0], columns[0])
        columns = [np.concatenate([first, second[new]]) for first, second in zip(*parts, strict=True)]
    order = np.argsort(columns[0], kind="stable")
    columns = [values[order] for values in columns]
    track, _ = make_track(folder.resolve().name, *columns)
    if track is None:
        raise LoftbookError(f"{folder}: no position in it has UTC; recover the capture together with the card")
    return track


def _positions(table):
    """(time, latitude, longitude, height) of a table's rows that have a position."""
    columns, size = table.columns, len(table)
    empty = np.full(size, np.nan)
    names = ("latitude_deg", "longitude_deg", "height_m", "fix_age_s", "quality")
    latitude, longitude, height, age_s, quality = (
        columns[name] if is_numbers(columns.get(name)) else empty for name in names
    )
    # A beacon tells the position of its last fix, and how long ago that was.
    known = np.isfinite(latitude) & np.isfinite(longitude) & ~np.isnat(columns["utc"]) & ~(quality == 0)
    age_ms = np.rint(np.where(np.isfinite(age_s), age_s, 0.0) * 1000.0).astype("timedelta64[ms]")
    return tuple(values[known] for values in (columns["utc"] - age_ms, latitude, longitude, height))


def _are_new(time_utc, known_utc):
    """True where no known time, and no earlier one of these, is of the same fix. Both datetime64 arrays."""
    known, new = np.sort(known_utc), np.ones(len(time_utc), bool)
    if len(known):
        after = np.searchsorted(known, time_utc)
        before, behind = known[np.maximum(after - 1, 0)], known[np.minimum(after, len(known) - 1)]
        new = np.minimum(np.abs(time_utc - before), np.abs(behind - time_utc)) > SAME_FIX
    last = None
    for i in np.flatnonzero(new):
        if last is not None and abs(time_utc[i] - last) <= SAME_FIX:
            new[i] = False  # an old fix, said again
        else:
            last = time_utc[i]
    return new
