"""One demo flight, flown once for all tests of the world."""

from pathlib import Path

import pytest

from ground.mission.load import load_mission
from onboard.simulator.world.flight import fly
from onboard.simulator.world.gnss import gnss_sentences
from onboard.simulator.world.sensors import device_streams

ROOT = Path(__file__).parents[4]


@pytest.fixture(scope="session")
def mission():
    return load_mission(ROOT / "onboard/simulator/napraforgo-1.toml")


@pytest.fixture(scope="session")
def real_soundings():
    """Paths of all real soundings in the tree (sources: SOURCES.md beside them)."""
    folders = (ROOT / "onboard/simulator/soundings", ROOT / "tests/data/soundings")
    found = (path for folder in folders for path in folder.glob("*.csv"))
    return sorted(path for path in found if not path.name.startswith("world-"))  # tables of many soundings


@pytest.fixture(scope="session")
def truth(mission):
    return fly(mission, 1)


@pytest.fixture(scope="session")
def streams(truth, mission):
    return device_streams(truth, mission, 1)


@pytest.fixture(scope="session")
def epochs(truth, mission):
    return gnss_sentences(truth, mission, 1)
