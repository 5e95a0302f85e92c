"""A flight that was loaded once for all tests of the report."""

import pytest
from page_flights import write_evil, write_usual

from ground.library import load_flight
from ground.page.page import make_page
from ground.page.plots import all_plots


@pytest.fixture(scope="session")
def usual(tmp_path_factory):
    """A usual RecordedFlight."""
    return load_flight(write_usual(tmp_path_factory.mktemp("usual") / "flight"))


@pytest.fixture(scope="session")
def evil(tmp_path_factory):
    """A RecordedFlight full of markup."""
    return load_flight(write_evil(tmp_path_factory.mktemp("evil") / "flight"))


@pytest.fixture(scope="session")
def usual_plots(usual):
    """Its plots."""
    return all_plots(usual.case, usual.statements)


@pytest.fixture(scope="session")
def evil_plots(evil):
    """Its plots."""
    return all_plots(evil.case, evil.statements)


@pytest.fixture(scope="session")
def usual_page(usual, usual_plots):
    """Its page."""
    return make_page(usual, usual_plots)


@pytest.fixture(scope="session")
def evil_page(evil, evil_plots):
    """Its page."""
    return make_page(evil, evil_plots)
