"""Set the simulator's truth beside what the ground program says of the same flight."""

import csv
from collections import Counter
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from ground.physics.geodesy import distance_m

# Kinds whose tables hold something else than one row a record.
_NO_PLAIN_TABLE = ("manifest", "text")


@dataclass(frozen=True)
class Comparison:
    """One line: what, truth and statement (None if there is none) in one unit; agrees_within: a difference up to
    this, which a healthy flight stays within, is no fault's doing.
    """

    what: str
    unit: str
    truth: float
    stated: float | None
    digits: int
    agrees_within: float

    @property
    def difference(self):
        """Statement minus truth, None without a statement."""
        return None if self.stated is None else self.stated - self.truth

    @property
    def agrees(self):
        """True if the statement is there and near enough."""
        return self.stated is not None and abs(self.difference) <= self.agrees_within


def compare(figures, summary):
    """Compare truth_figures with the content of a summary.json.

    Returns a list of Comparison; times are in seconds after release.
    """
    figures = {**figures, "burst": figures["burst"] or figures["climb_end"]}
    start = datetime.fromisoformat(figures["start_utc"])
    release_s = figures["release"]["time_s"]
    statements = summary["statements"]
    lines = []
    for title, truth_name, agrees_s in (("launch", "release", 3), ("burst", "burst", 3), ("landing", "landing", 10)):
        truth, stated = figures[truth_name], statements.get(title, {})
        seconds = None
        if stated.get("utc"):
            utc = datetime.fromisoformat(stated["utc"])
            seconds = (utc - start - timedelta(seconds=release_s)).total_seconds()
        lines.append(Comparison(f"{title}, after release", "s", truth["time_s"] - release_s, seconds, 1, agrees_s))
        lines.append(Comparison(f"{title}, height", "m", truth["height_m"], stated.get("height_m"), 0, 30))
        lines.append(Comparison(f"{title}, place (apart)", "m", 0.0, _apart_m(truth, stated), 1, 30))
    for title, unit, truth, name, digits, offset, within in (
        ("greatest height", "m", "greatest_height_m", "greatest_height", 0, 0.0, 30),
        ("mean climb", "m/s", "climb_rate_m_s", "climb_rate", 2, 0.0, 0.1),
        ("coldest air", "degC", "coldest_air_k", "coldest_air", 1, -273.15, 2),
        ("greatest ground speed", "m/s", "greatest_ground_speed_m_s", "greatest_ground_speed", 1, 0.0, 2),
        ("greatest fall speed", "m/s", "greatest_fall_speed_m_s", "greatest_fall_speed", 1, 0.0, 5),
    ):
        stated = statements.get(name, {}).get("value")
        lines.append(Comparison(title, unit, figures[truth] + offset, stated, digits, within))
    height_m = statements.get("coldest_air", {}).get("height_m")
    lines.append(Comparison("height of the coldest air", "m", figures["coldest_air_height_m"], height_m, 0, 500))
    return lines


def _apart_m(truth, stated):
    if stated.get("latitude_deg") is None:
        return None
    places = (truth["latitude_deg"], truth["longitude_deg"], stated["latitude_deg"], stated["longitude_deg"])
    return float(distance_m(*places))


def recovered_records(folder):
    """Count the (kind name, tick) of all rows in the tables of a recovered flight of one boot."""
    found = Counter()
    for path in Path(folder).glob("*.csv"):
        if path.stem in _NO_PLAIN_TABLE:
            continue
        with open(path, newline="", encoding="utf-8") as file:
            found.update((path.stem, int(row["tick_ms"])) for row in csv.DictReader(file))
    return found


def balance(whole, written, recovered):
    """Set the recovered records against those that were written.

    whole: Counter of the records in blocks that are still whole; written: of all records; recovered: of all rows.
    Returns a dict of numbers: whole, missed (of the whole ones), more (recovered beyond them), hit (records
    in blocks that were hit), invented (never written).
    """
    whole, written = (_plain(counts) for counts in (whole, written))
    return {
        "whole": whole.total(),
        "missed": (whole - recovered).total(),
        "more": ((recovered & written) - whole).total(),
        "hit": (written - whole).total(),
        "invented": (recovered - written).total(),
    }


def _plain(counts):
    return Counter({key: count for key, count in counts.items() if key[0] not in _NO_PLAIN_TABLE})
