"""Puts the made-up flights of tests/ground/analyse within reach, and gives recovered folders of some."""

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[1] / "analyse"))

from exported_flights import PLAN, recorded  # noqa: E402
from made_flight import keep, log_of  # noqa: E402


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
