"""Find the columns of a table of positions by their headings."""

import re
from dataclasses import dataclass

from ground.units import METRES_PER_FOOT

_LATITUDE = {"lat", "latitude"}
_LONGITUDE = {"lon", "lng", "long", "longitude"}
_HEIGHT = {"alt", "altitude", "height", "hgt", "elevation", "elev", "ele"}
_MOMENT = {"timestamp", "datetime", "epoch", "unix", "unixtime"}
_DATE = {"date", "day"}
_RUNNING = {"uptime", "runtime", "airtime"}
# A number beside the wanted one, not itself.
_BESIDE = {
    "accuracy", "error", "uncertainty", "std", "sigma", "rate", "speed", "max", "min", "zone", "offset", "delta",
    "agl", "ground", "relative", "rel", "since", "elapsed", "duration", "predicted",
}  # fmt: skip
# Of several that fit: those are worse than others.
_SECOND_CHOICE = {"pressure", "baro", "barometric", "received", "server", "local", "upload", "heard"}
_METRES = {
    "m": 1.0, "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0, "km": 1000.0, "ft": METRES_PER_FOOT,
    "feet": METRES_PER_FOOT, "foot": METRES_PER_FOOT,
}  # fmt: skip
_UTC = {"utc", "gmt", "zulu"}


@dataclass(frozen=True)
class Headings:
    """Indices of columns; None where there is none. moment: has date and time, or the epoch; else date and time."""

    names: list
    latitude: int
    longitude: int
    height: int | None
    metres: float  # in the unit of the height
    moment: int | None
    date: int | None
    time: int | None
    says_utc: bool
    notes: tuple


def find_headings(names):
    """Give the Headings of a row of cells, or None if it names no latitude and longitude."""
    words = [_words(name) for name in names]
    latitude, longitude, height = (_pick(words, wanted) for wanted in (_LATITUDE, _LONGITUDE, _HEIGHT))
    if latitude is None or longitude is None:
        return None
    notes, metres = [], 1.0
    if height is not None:
        unit = next((word for word in reversed(words[height]) if word in _METRES), None)
        metres = _METRES.get(unit, 1.0)
        if unit is None:
            notes.append(f"heading {names[height].strip()!r} names no unit; metres were assumed")
    moment, date, time = _times(words)
    used = [index for index in (moment, date, time) if index is not None]
    if any("local" in words[index] for index in used):
        notes.append("a heading says local time; it was taken for UTC all the same")
    says_utc = any(_UTC & set(words[index]) for index in used)
    plain = [" ".join(name.split())[:40] for name in names]
    return Headings(
        plain, latitude, longitude, height, metres, moment, date, time, says_utc, tuple(notes)
    )


def _words(name):
    parted = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    return [word for word in re.split(r"[^0-9a-z]+", parted.lower()) if word]


def _pick(words, wanted):
    """The best column that one of the wanted words names, or None."""
    fitting = [i for i, some in enumerate(words) if wanted & set(some) and not _BESIDE & set(some)]
    return min(fitting, key=lambda i: bool(_SECOND_CHOICE & set(words[i])), default=None)


def _times(words):
    """(moment, date, time), of which moment, or time, or both others are an index."""
    date = _pick(words, _DATE)
    exact = {"time"} | _UTC
    ends = exact | {word for some in words for word in some if word.endswith("time") and word not in _RUNNING}
    both = [i for i in range(len(words)) if _DATE & set(words[i]) and ends & set(words[i])]
    moment = _pick(words, _MOMENT)
    if moment is None and both:
        moment = both[0]
    others = [some if i != date else [] for i, some in enumerate(words)]
    time = _pick(others, exact)
    time = _pick(others, ends) if time is None else time
    if moment is None and (date is None or time is None):
        moment = time if time is not None else date
    return moment, date, time
