"""Who listens and reports besides the logger in a flight of campaign_statements.py: a radio's listener, a tracker."""

import csv
import json
from datetime import datetime, timedelta

import numpy as np

from onboard.simulator.board.modem import DOWNLINK_NAME, TIMES_NAME

HEARD, HEARD_TIMES, TRACKER = "heard.bin", "heard.csv", "tracker.csv"
_PAUSE_MS = 2000  # what is sent so much later is another transmission
_METRES_A_DEGREE = 111195.0  # on a sphere; will do for an error of some metres


def hear(folder, scenario):
    """Write what a listener hears of a kept flight's downlink, HEARD, and when each transmission began, HEARD_TIMES.

    scenario.link: lost, the share of transmissions lost by chance; hidden_below_m: lower than this on the way down
    the ground hides the payload.
    """
    sent = (folder / DOWNLINK_NAME).read_bytes()
    writes = [tuple(map(int, line.split())) for line in (folder / TIMES_NAME).read_text("utf-8").splitlines()]
    top_s, time_s, height_m = _path(folder)
    random = np.random.default_rng([scenario.seed, 8])
    heard, times, last_ms, kept = bytearray(), [], -_PAUSE_MS, False
    for begin_ms, offset, count in writes:
        if begin_ms - last_ms >= _PAUSE_MS:
            hidden = begin_ms / 1000.0 > top_s
            hidden &= np.interp(begin_ms / 1000.0, time_s, height_m) < scenario.link["hidden_below_m"]
            kept = random.random() >= scenario.link["lost"] and not hidden
            if kept:
                times.append(begin_ms / 1000.0)
        last_ms = begin_ms
        if kept:
            heard += sent[offset : offset + count]
    (folder / HEARD).write_bytes(heard)
    _write(folder / HEARD_TIMES, ["seconds_since_power_on"], [[f"{each:.3f}"] for each in times])


def write_tracker(folder, scenario):
    """Write the table that a tracker's maker would export of a kept flight, with the chance errors of a receiver.

    scenario.tracker: period_s; noise_m, standard deviation of each coordinate; ceiling_m: above it there are no
    reports; back_below_m: on the way down they begin again from there.
    """
    wanted, random = scenario.tracker, np.random.default_rng([scenario.seed, 9])
    top_s, time_s, height_m, latitude, longitude, start = _path(folder, places=True)
    rows = []
    for at_s in np.arange(20.0, time_s[-1], wanted["period_s"]):
        true = [float(np.interp(at_s, time_s, column)) for column in (latitude, longitude, height_m)]
        if true[2] > (wanted["ceiling_m"] if at_s < top_s else wanted["back_below_m"]):
            continue
        north_m, east_m, up_m = random.standard_normal(3) * wanted["noise_m"]
        here = true[0] + north_m / _METRES_A_DEGREE
        there = true[1] + east_m / _METRES_A_DEGREE / np.cos(np.radians(true[0]))
        when = start + timedelta(seconds=float(at_s))
        rows.append([f"{when:%Y-%m-%dT%H:%M:%SZ}", f"{here:.6f}", f"{there:.6f}", f"{true[2] + up_m:.0f}"])
    _write(folder / TRACKER, ["time", "latitude", "longitude", "height_m"], rows)


def read_times(path):
    """The times of HEARD_TIMES, s since power-on, (n,)."""
    return np.loadtxt(path, skiprows=1, ndmin=1)


def _path(folder, places=False):
    figures = json.loads((folder / "truth.json").read_text("utf-8"))
    with open(folder / "truth.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    column = {name: np.array([row[i] for row in rows[1:]], float) for i, name in enumerate(rows[0])}
    found = figures["climb_end"]["time_s"], column["seconds_since_power_on"], column["height_m"]
    if not places:
        return found
    start = datetime.fromisoformat(figures["start_utc"])
    return *found, column["latitude_deg"], column["longitude_deg"], start


def _write(path, names, rows):
    with open(path, "w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([names, *rows])
