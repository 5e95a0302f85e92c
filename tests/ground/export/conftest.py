"""Puts the made-up flights of tests/ground/analyse within reach, and gives recovered folders of some."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.append(str(Path(__file__).parents[1] / "analyse"))

from made_flight import Plan, keep, log_of, recovered_of  # noqa: E402

from ground.decode import decode_flight  # noqa: E402
from ground.library import load_flight  # noqa: E402
from ground.report import write_flight  # noqa: E402
from ground.statements import summarise  # noqa: E402

PLAN = Plan(wait_s=120.0, rest_s=120.0, burst_m=14_000.0)


def recorded(folder, *logs, payload="Napraforgo-1"):
    """Write logs as a recovery does, and load the folder: RecordedFlight."""
    recovered = recovered_of(list(logs))
    flight = decode_flight(list(logs))
    flight.payload = payload
    write_flight(folder, flight, summarise(flight, recovered), recovered)
    return load_flight(folder)


@pytest.fixture(scope="session")
def record(tmp_path_factory):
    """A usual flight to 14 km."""
    return recorded(tmp_path_factory.mktemp("usual") / "flight", log_of(PLAN))


@pytest.fixture(scope="session")
def nasty_record(tmp_path_factory):
    """A flight whose payload's name is markup and holds a character that XML does not allow."""
    name = '</name><script>alert("1")</script>&\x07'
    return recorded(tmp_path_factory.mktemp("nasty") / "flight", log_of(PLAN, last_s=900.0), payload=name)


@pytest.fixture(scope="session")
def blind_record(tmp_path_factory):
    """A flight without a single fix."""
    return recorded(tmp_path_factory.mktemp("blind") / "flight", keep(log_of(PLAN), "fix", lambda t: t < 0))


@pytest.fixture(scope="session")
def gap_record(tmp_path_factory):
    """A flight with ten minutes of silence of the receiver."""
    log = keep(log_of(PLAN), "fix", lambda t: (t < 600) | (t > 1200))
    return recorded(tmp_path_factory.mktemp("gap") / "flight", log)


def close(a, b, within):
    """True if arrays differ by no more than this, and miss the same values."""
    return bool((np.isnan(a) == np.isnan(b)).all()) and bool(np.nanmax(np.abs(a - b)) <= within)
