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
    """One line: what, truth, statement and their difference, as numbers in one unit."""

    what: str
    unit: str
    truth: float
    stated: float
    digits: int

    @property
    def difference(self):
        """Statement minus truth."""
        return self.stated - self.truth


def compare(figures, summary):
    """Compare truth_figures with the content of a summary.json.

    Returns a list of Comparison; times are in seconds after release. Raises KeyError if the summary lacks
    a statement.
    """
    start = datetime.fromisoformat(figures["start_utc"])
    release_s = figures["release"]["time_s"]
    statements = summary["statements"]
    lines = []
    for title, truth_name, statement in (
        ("launch", "release", "launch"), ("burst", "burst", "burst"), ("landing", "landing", "landing"),
    ):
        truth, stated = figures[truth_name], statements[statement]
        seconds = (datetime.fromisoformat(stated["utc"]) - start - timedelta(seconds=release_s)).total_seconds()
        lines.append(Comparison(f"{title}, after release", "s", truth["time_s"] - release_s, seconds, 1))
        lines.append(Comparison(f"{title}, height", "m", truth["height_m"], stated["height_m"], 0))
        apart = distance_m(
            truth["latitude_deg"], truth["longitude_deg"], stated["latitude_deg"], stated["longitude_deg"]
        )
        lines.append(Comparison(f"{title}, place (apart)", "m", 0.0, float(apart), 1))
    for title, unit, truth, name, digits, offset in (
        ("greatest height", "m", "greatest_height_m", "greatest_height", 0, 0.0),
        ("mean climb", "m/s", "climb_rate_m_s", "climb_rate", 2, 0.0),
        ("coldest air", "degC", "coldest_air_k", "coldest_air", 1, -273.15),
        ("greatest ground speed", "m/s", "greatest_ground_speed_m_s", "greatest_ground_speed", 1, 0.0),
        ("greatest fall speed", "m/s", "greatest_fall_speed_m_s", "greatest_fall_speed", 1, 0.0),
    ):
        lines.append(Comparison(title, unit, figures[truth] + offset, statements[name]["value"], digits))
    coldest = statements["coldest_air"]
    lines.append(
        Comparison("height of the coldest air", "m", figures["coldest_air_height_m"], coldest["height_m"], 0)
    )
    return lines


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
