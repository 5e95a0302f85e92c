"""A track: positions with their times, in order, and how it is made from what a file holds."""

from dataclasses import dataclass

import numpy as np

NOWHERE_DEG = 1e-6  # both this near to zero: what receivers without a fix write (common practice, no source)
NAME_LENGTH = 40
EARLIEST = np.datetime64("1990-01-01", "ms")  # no satellite fix is older: such a time means that there is none
LATEST = np.datetime64("2100-01-01", "ms")


@dataclass(frozen=True)
class Track:
    """What one position source says.

    name: for a legend. time_utc: datetime64[ms] array (n,), n > 0, ascending, no two alike. latitude_deg,
    longitude_deg: float arrays (n,), WGS 84. height_m: float array (n,), m above mean sea level as the source
    says, NaN where it says none. notes: tuple of lines: what was assumed and left out.
    """

    name: str
    time_utc: np.ndarray
    latitude_deg: np.ndarray
    longitude_deg: np.ndarray
    height_m: np.ndarray
    notes: tuple = ()

    def __len__(self):
        return len(self.time_utc)


def make_track(name, time_utc, latitude_deg, longitude_deg, height_m, notes=()):
    """Put positions in order and leave out what is none: no time, out of range, 0/0, said twice.

    All: arrays or lists (n,), NaT and NaN where missing. Returns (Track or None if nothing is left, notes).
    """
    notes = list(notes)
    time_utc = np.asarray(time_utc, "datetime64[ms]")
    columns = [np.asarray(values, float) for values in (latitude_deg, longitude_deg, height_m)]

    def keep(mask, what):
        nonlocal time_utc, columns
        left_out = int((~mask).sum())
        if left_out:
            notes.append(f"{left_out} position{'s were' if left_out > 1 else ' was'} left out: {what}")
        time_utc, columns = time_utc[mask], [values[mask] for values in columns]

    keep((time_utc >= EARLIEST) & (time_utc < LATEST), "no time")  # NaT compares as false
    keep(np.isfinite(columns[0]) & np.isfinite(columns[1]), "no latitude or longitude")
    keep((np.abs(columns[0]) <= 90.0) & (np.abs(columns[1]) <= 360.0), "no such latitude or longitude")
    keep((np.abs(columns[0]) > NOWHERE_DEG) | (np.abs(columns[1]) > NOWHERE_DEG), "latitude and longitude are 0")
    if (np.diff(time_utc) < np.timedelta64(0)).any():
        notes.append("its positions were not in order of time; they were sorted")
        order = np.argsort(time_utc, kind="stable")
        time_utc, columns = time_utc[order], [values[order] for values in columns]
    keep(np.diff(time_utc, prepend=EARLIEST - 1) > np.timedelta64(0), "another of the same time came before")
    if not len(time_utc):
        return None, notes
    latitude, longitude, height = columns
    longitude = (longitude + 180.0) % 360.0 - 180.0
    height = np.where(np.abs(height) < 1e6, height, np.nan)
    name = "".join(c for c in name if c.isprintable()).strip()[:NAME_LENGTH] or "track"
    return Track(name, time_utc, latitude, longitude, height, tuple(notes)), notes
