"""What really happened in a flight of campaign_statements.py, from its folder: truth.json and the two tables."""

import csv
import json
from dataclasses import dataclass
from datetime import datetime

import numpy as np

KELVIN = 273.15


@dataclass(frozen=True)
class World:
    """figures: truth.json. path: dict column -> array (n,), a line a second. air: dict column -> array (m,), a line
    each 20 m of height. scenario: Scenario. start: UTC of power-on, without zone. statements: all of the flight.
    """

    figures: dict
    path: dict
    air: dict
    scenario: object
    start: datetime
    statements: dict

    @property
    def flying(self):
        """Which lines of path lie between release and landing: (n,)."""
        time_s = self.path["seconds_since_power_on"]
        return (time_s >= self.figures["release"]["time_s"]) & (time_s <= self.figures["landing"]["time_s"])

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
        for row in self.figures.get("faults", []):
            if row["kind"] == "shifted" and row["target"] == "battery":
                shift_mv += row["number"] if row["start_ms"] <= 1000 * time_s < row["stop_ms"] else 0
        return shift_mv / 1000.0


def read_world(folder, scenario, statements):
    """Read the World of a kept folder (Path). statements: dict id -> statement."""
    figures = json.loads((folder / "truth.json").read_text("utf-8"))
    faults = folder / "faults.json"
    if faults.is_file():
        figures["faults"] = json.loads(faults.read_text("utf-8"))
    start = datetime.fromisoformat(figures["start_utc"]).replace(tzinfo=None)
    path, air = _table(folder / "truth.csv"), _table(folder / "truth-air.csv")
    return World(figures, path, air, scenario, start, statements)


def _table(path):
    with open(path, newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    values = np.array(rows[1:], float).T
    return dict(zip(rows[0], values))


