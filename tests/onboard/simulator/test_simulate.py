"""`loftbook simulate`: what it prints and keeps, and what it refuses."""

import json
import re
from importlib.metadata import EntryPoint

import pytest

from ground.cli import PLUGIN_GROUP, build_app
from ground.errors import LoftbookError
from onboard.simulator.commands import DEMO_MISSION

RESULTS = {
    "README.txt", "card.img", "faults.json", "mission.toml", "recovered", "report.txt", "truth.csv", "truth.json",
    "truth-air.csv",
}  # fmt: skip


def simulate(*words):
    application = build_app([EntryPoint("simulate", "onboard.simulator.commands:simulate", PLUGIN_GROUP)])
    application(["simulate", *map(str, words)], prog_name="loftbook", standalone_mode=False)


@pytest.fixture
def mission(tmp_path):
    """A mission file whose balloon bursts low."""
    path = tmp_path / "mission.toml"
    text = DEMO_MISSION.read_text("utf-8")
    path.write_text(text.replace("burst_diameter_m = 7.0", "burst_diameter_m = 1.66"), "utf-8")
    return path


def test_a_rehearsed_flight_tells_what_was_injected_logged_lost_and_still_true(mission, tmp_path, capsys):
    folder = tmp_path / "trial"
    simulate(
        mission, "-o", folder, "--interpreter", "cpython", "--fault", "silent barometer climb+60 climb+90",
        "--fault", "pulled card climb+120 climb+150", "--fault", "reset board burst+60 burst+63 3",
    )
    told = capsys.readouterr().out
    assert {path.name for path in folder.iterdir()} == RESULTS
    assert (folder / "report.txt").read_text("utf-8") in told
    assert "+0:01:00 to +0:01:30  barometer does not answer\n" in told
    assert re.search(r"\+0:01:00  barometer failed \(error 19\)", told)
    assert re.search(r"\+0:01:30  barometer works again, after 1[45]\d failures", told)
    assert re.search(r"\+0:02:\d\d  card failed \(error 19\)", told)
    assert re.search(r"booted \(reset cause 3\), \d+ sectors", told)
    assert re.search(r"^  \d+ blocks found no room while the card failed: given up on board\.$", told, re.MULTILINE)
    pressure = re.search(r"pressure +(\d+) +(\d+) +(\d+)", told)
    assert 140 <= int(pressure[3]) <= 155 and int(pressure[2]) < int(pressure[1])  # five times a second, for 30 s
    assert re.search(r"^\d+ of the 15 main numbers agree with the truth", told, re.MULTILINE)
    faults = json.loads((folder / "faults.json").read_text("utf-8"))
    assert [fault["kind"] for fault in faults] == ["silent", "pulled", "reset"]


def test_a_calm_rehearsal_agrees_with_the_truth_in_everything(mission, tmp_path, capsys):
    simulate(mission, "-o", tmp_path / "calm", "--interpreter", "cpython", "--rehearsal", "calm", "--seed", 2)
    told = capsys.readouterr().out
    assert "Nothing goes wrong." in told and "No written block is lost." in told
    assert "15 of the 15 main numbers agree with the truth." in told


def test_the_card_is_full_when_the_fault_says_so(mission, tmp_path, capsys):
    simulate(mission, "-o", tmp_path / "full", "--interpreter", "cpython", "--fault", "full card burst end")
    told = capsys.readouterr().out
    assert "the card is nearly full" in told
    motion = re.search(r"motion +(\d+) +(\d+)", told)
    burst = json.loads((tmp_path / "full" / "truth.json").read_text("utf-8"))["burst"]["time_s"]
    assert int(motion[2]) == pytest.approx(10 * burst, rel=0.25)


def test_the_list_shows_rehearsals_and_kinds(capsys):
    simulate("--list")
    told = capsys.readouterr().out
    assert re.search(r"^  calm +Nothing goes wrong\.$", told, re.MULTILINE) and "  everything " in told
    assert re.search(r"^  float HEIGHT SECONDS +the balloon loses", told, re.MULTILINE)
    assert re.search(r"^  stuck +is held down.*NUMBER: ms for each attempt \(else 50\)$", told, re.MULTILINE)


@pytest.mark.parametrize("words, problem", [
    (("--rehearsal", "storm"), "no rehearsal 'storm'"),
    (("--fault", "silent barometer now 10"), "'now' is no time"),
    (("--fault", "damaged barometer 0 10"), "cannot befall"),
    (("--mishap", "boat 1"), "no kind 'boat'"),
    (("--mishap", "cut-down 20000"), "outside this flight"),
])
def test_what_cannot_be_is_refused_and_leaves_nothing(mission, tmp_path, words, problem):
    with pytest.raises(LoftbookError, match=problem):
        simulate(mission, "-o", tmp_path / "none", "--interpreter", "cpython", *words)
    assert [path.name for path in tmp_path.iterdir()] == ["mission.toml"]


def test_a_missing_mission_and_an_old_folder_are_refused(mission, tmp_path):
    with pytest.raises(LoftbookError, match="no such mission file"):
        simulate(tmp_path / "other.toml", "-o", tmp_path / "none")
    with pytest.raises(LoftbookError, match="already exists"):
        simulate(mission, "-o", tmp_path)
