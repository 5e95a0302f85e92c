"""What really happened in a flight of campaign_statements.py, from its folder: truth.json and the two tables."""

import csv
import json
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from ground.mission import load_mission
from onboard.simulator.prepare import CARD_NAME
from tools.campaign.statement_box import BOX
from tools.campaign.statement_lost import read_kept
from tools.campaign.statement_others import HEARD_TIMES, TRACKER, read_times

KELVIN = 273.15


@dataclass(frozen=True)
class World:
    """figures: truth.json, with faults.json under "faults" and the box's truth under "box". path: dict column -> array
    (n,), a line a second. air: dict column -> array (m,), a line each 20 m of height. scenario: Scenario. start: UTC
    of power-on, without zone. statements: all of the flight. mission: Mission. stamps: (ticks in ms, UTC in s after
    start) of the first boot's voltages. heard_s: when the transmissions of the downlink began that were heard;
    tracker_s: times of a tracker's reports, both since power-on, (n,) or None. kept: Kept, if blocks of the card were
    wiped, or None.
    """

    figures: dict
    path: dict
    air: dict
    scenario: object
    start: datetime
    statements: dict
    mission: object = None
    stamps: tuple = ()
    heard_s: np.ndarray | None = None
    tracker_s: np.ndarray | None = None
    kept: object = None

    @property
    def flying(self):
        """Which lines of path lie between release and landing: (n,)."""
        time_s = self.path["seconds_since_power_on"]
        return (time_s >= self.figures["release"]["time_s"]) & (time_s <= self.figures["landing"]["time_s"])

    @property
    def flying_s(self):
        """Release and landing, s since power-on."""
        return self.figures["release"]["time_s"], self.figures["landing"]["time_s"]

    def faults(self, kind, target=None):
        """The faults of a kind, of any target or of one: list of dicts as in faults.json."""
        rows = self.figures.get("faults", [])
        return [row for row in rows if row["kind"] == kind and target in (None, row["target"])]

    def seconds(self, utc):
        """Seconds since power-on of a statement's UTC."""
        return (datetime.fromisoformat(utc.rstrip("Z")) - self.start).total_seconds()

    def at(self, column, time_s):
        """A column of path at a time since power-on."""
        return float(np.interp(time_s, self.path["seconds_since_power_on"], self.path[column]))

    def aloft(self, column, height_m):
        """A column of air at a height (or array)."""
        return np.interp(height_m, self.air["height_m"], self.air[column])

    def crossing_m_s(self, bottom_m, top_m, from_s, to_s):
        """Mean vertical speed between two heights in a part of the flight, None if it did not cross that layer."""
        time_s, height_m = self.path["seconds_since_power_on"], self.path["height_m"]
        part = (time_s >= from_s) & (time_s <= to_s) & (height_m >= bottom_m) & (height_m <= top_m)
        if part.sum() < 3:
            return None
        return float(np.ptp(height_m[part]) / np.ptp(time_s[part]))

    def voltage_shift_v(self, time_s):
        """What faults took from the battery's voltage at a time since power-on."""
        shift_mv = 0
        for row in self.faults("shifted", "battery"):
            shift_mv += row["number"] if row["start_ms"] <= 1000 * time_s < row["stop_ms"] else 0
        return shift_mv / 1000.0


def read_world(folder, scenario, flight):
    """Read the World of a kept folder (Path). flight: the RecordedFlight of it."""
    figures = json.loads((folder / "truth.json").read_text("utf-8"))
    for name, key in (("faults.json", "faults"), (BOX, "box")):
        if (folder / name).is_file():
            figures[key] = json.loads((folder / name).read_text("utf-8"))
    start = datetime.fromisoformat(figures["start_utc"]).replace(tzinfo=None)
    tracker = None
    if (folder / TRACKER).is_file():
        with open(folder / TRACKER, newline="", encoding="utf-8") as file:
            times = [datetime.fromisoformat(row[0].rstrip("Z")) for row in list(csv.reader(file))[1:]]
        tracker = np.array([(time - start).total_seconds() for time in times])
    return World(
        figures, _table(folder / "truth.csv"), _table(folder / "truth-air.csv"), scenario, start, flight.statements,
        load_mission(folder / "mission.toml"), _stamps(flight, start),
        read_times(folder / HEARD_TIMES) if (folder / HEARD_TIMES).is_file() else None, tracker,
        read_kept(folder / CARD_NAME) if scenario.lost else None,
    )  # fmt: skip


def _stamps(flight, start):
    columns = flight.tables["power"]
    first = (columns["boot"] == 1) & ~np.isnat(columns["utc"])
    since = columns["utc"][first] - np.datetime64(start, "ms")
    return columns["tick_ms"][first].astype(float), since / np.timedelta64(1, "s")


def _table(path):
    with open(path, newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    values = np.array(rows[1:], float).T
    return dict(zip(rows[0], values))


