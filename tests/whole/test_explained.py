"""The demo's flight explained: the page, the answers and README's example, beside the simulator's truth."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from ground import load_flight
from ground.physics.atmosphere import geometric_height_m

README = Path(__file__).resolve().parents[2] / "README.md"


@pytest.fixture(scope="module")
def flight(demo):
    return load_flight(demo[0] / "recovered", mission=demo[0] / "mission.toml")


def test_the_readmes_example_prints_what_it_shows(demo, tmp_path):
    page = README.read_text("utf-8")
    script = re.search(r"<!-- example script -->\n```python\n(.*?)```", page, re.DOTALL)[1]
    shown = re.search(r"<!-- example output -->\n```\n(.*?)```", page, re.DOTALL)[1]
    os.symlink(demo[0], tmp_path / "loftbook-demo")
    done = subprocess.run([sys.executable, "-c", script], cwd=tmp_path, capture_output=True, text=True)
    assert done.stderr == ""

    def words(text):
        return re.sub(r"[\d .,:-]+", " ", text)

    assert words(done.stdout) == words(shown)


def test_the_demos_page_is_whole_and_small(demo):
    page = (demo[0] / "recovered" / "report.html").read_text("utf-8")
    assert 1_000_000 < len(page.encode()) < 8_000_000
    assert page.rstrip().endswith("</html>") and "Napraforgo-1" in page
    # Nothing is fetched: the only addresses with a scheme stand in the plotting library's own text.
    head = page[: page.index("<script")]
    assert "http://" not in head and "https://" not in head


def test_the_tropopause_is_the_one_that_the_sounding_reported(flight):
    # Praha-Libus 2007-11-20 11:15 UTC, reported: 186.7 hPa, 12 207 m geopotential, -69.2 degC.
    said = flight.statements["tropopause"]
    assert abs(said["value"] - geometric_height_m(12_207)) <= said["uncertainty"] < 250
    row = dict(zip((name for name, _ in said["table"]["columns"]), said["table"]["rows"][0], strict=True))
    assert row["pressure"] == pytest.approx(186.7, abs=4.0)
    assert row["temperature"] == pytest.approx(-69.2, abs=1.0)


@pytest.mark.parametrize(
    "question, truth_of",
    [
        ("greatest_height", lambda truth: truth["greatest_height_m"]),
        ("coldest_air", lambda truth: truth["coldest_air_k"] - 273.15),
        ("climb_rate", lambda truth: truth["climb_rate_m_s"]),
        ("greatest_fall_speed", lambda truth: truth["greatest_fall_speed_m_s"]),
        ("greatest_ground_speed", lambda truth: truth["greatest_ground_speed_m_s"]),
        ("landing_speed", lambda truth: truth["flight"]["landing_speed_m_s"]),
        ("drag_area", lambda truth: truth["flight"]["drag_area_m2"]),
        ("duration", lambda truth: truth["flight"]["duration_s"]),
    ],
)
def test_the_uncertainty_holds_the_truth(flight, truth, question, truth_of):
    said = flight.statements[question]
    assert abs(said["value"] - truth_of(truth)) <= said["uncertainty"]
