"""Flights that the exports are tested with, as recovered folders."""

from made_flight import Plan, recovered_of

from ground.decode import decode_flight
from ground.library import load_flight
from ground.report import write_flight
from ground.statements import summarise

PLAN = Plan(wait_s=120.0, rest_s=120.0, burst_m=14_000.0)


def recorded(folder, *logs, payload="Napraforgo-1"):
    """Write logs as a recovery does, and load the folder: RecordedFlight."""
    recovered = recovered_of(list(logs))
    flight = decode_flight(list(logs))
    flight.payload = payload
    write_flight(folder, flight, summarise(flight, recovered), recovered)
    return load_flight(folder)
