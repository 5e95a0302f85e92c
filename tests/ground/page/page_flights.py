"""Recovered flights in folders, for the tests of the report: a usual one, and one that means harm."""

import csv
import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "analyse"))

from made_flight import Plan, log_of, recovered_of  # noqa: E402

from ground.decode import decode_flight  # noqa: E402
from ground.report import write_flight  # noqa: E402
from ground.statements import summarise  # noqa: E402

PLAN = Plan(wait_s=60.0, rest_s=60.0, burst_m=2500.0)
EVIL = "<script>alert(1)</script>"
MATHS = r"$\frac{1}{0"  # matplotlib would try to set it as a formula
EVIL_EVENT = f"</script><img src=x onerror=alert(2)> {MATHS} %{{y}}"
EVIL_KIND = "<b onclick=alert(3)>$odd"


def write_usual(folder):
    """Write a flight to 2.5 km as a recovery does. Returns the folder."""
    return write_log(folder, log_of(PLAN), "Napraforgo-1")


def write_evil(folder):
    """The same, whose payload, event and a kind of record are called as an attacker would call them."""
    write_log(folder, log_of(PLAN), f"{EVIL} {MATHS}")
    with open(folder / "air.csv", encoding="utf-8", newline="") as file:
        row = next(csv.DictReader(file))
    with open(folder / "event.csv", "w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["utc", "boot", "tick_ms", "event", "subject_name", "evidence"])
        writer.writerow([row["utc"], row["boot"], row["tick_ms"], EVIL_EVENT, EVIL, "proven"])
    (folder / f"{EVIL_KIND}.csv").write_bytes((folder / "air.csv").read_bytes())
    return folder


def write_log(folder, log, payload):
    """Write one boot's log as a recovery does. Returns the folder."""
    recovered = recovered_of([log])
    flight = decode_flight([log])
    flight.payload = payload
    write_flight(folder, flight, summarise(flight, recovered), recovered)
    return folder
