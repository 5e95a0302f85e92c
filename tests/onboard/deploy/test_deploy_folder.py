"""loftbook deploy --to-folder: what is in the folder, and what is refused."""

import json
import tomllib
import zlib
from pathlib import Path

import pytest
from deploying import DEMO_MISSION, ENTRY, deploy

from ground.mission import load_mission
from ground.mission.board import board_settings

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="module")
def deployed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("deploy") / "board"
    code, output = deploy(DEMO_MISSION, "--to-folder", folder, "--flight", "5f3a1c22")
    assert code == 0, output
    return folder, output


def contents(folder):
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def sources(package):
    folder = ROOT / package
    return {f"lib/{package}/{path.stem}.mpy" for path in folder.glob("*.py") if path.name != "main.py"}


def test_the_folder_holds_main_the_configuration_and_every_module_compiled(deployed):
    expected = {"main.py", "loftbook.json"} | sources("protocol") | sources("onboard/firmware")
    assert contents(deployed[0]) == expected
    assert (deployed[0] / "main.py").read_text() == (ROOT / "onboard/firmware/main.py").read_text()


def test_every_module_is_plain_bytecode_of_version_6(deployed):
    """Source: MicroPython documentation, "MicroPython .mpy files": 'M', version, flags with the architecture
    in the bits from 2 up, zero for none.
    """
    for path in deployed[0].rglob("*.mpy"):
        header = path.read_bytes()[:4]
        assert header[0] == ord("M") and header[1] == 6
        assert header[2] >> 2 == 0, path


def test_the_configuration_is_the_missions_and_its_hash_is_told(deployed):
    text = (deployed[0] / "loftbook.json").read_bytes()
    assert json.loads(text) == board_settings(load_mission(DEMO_MISSION), bytes.fromhex("5f3a1c22"))
    words = deployed[1].split()
    assert words[words.index("Configuration") + 1] == f"{zlib.crc32(text):08x}"
    assert words[words.index("Flight") + 1] == "5f3a1c22"
    assert words[words.index("Payload") + 1] == "Napraforgo-1"
    assert "Next:" in deployed[1]


def test_the_same_flight_gives_the_same_bytes_and_another_deployment_another_flight(deployed, tmp_path):
    assert deploy(DEMO_MISSION, "--to-folder", tmp_path / "again", "--flight", "5f3a1c22")[0] == 0
    for name in contents(deployed[0]):
        assert (tmp_path / "again" / name).read_bytes() == (deployed[0] / name).read_bytes()
    flights = set()
    for name in ("one", "two"):
        assert deploy(DEMO_MISSION, "--to-folder", tmp_path / name)[0] == 0
        flights.add(json.loads((tmp_path / name / "loftbook.json").read_text())["flight"])
    assert len(flights | {"5f3a1c22"}) == 3


def test_an_existing_folder_is_not_touched(tmp_path):
    (tmp_path / "board").mkdir()
    (tmp_path / "board" / "mine.txt").write_text("mine")
    code, line = deploy(DEMO_MISSION, "--to-folder", tmp_path / "board")
    assert code == 1 and "exists already" in line
    assert contents(tmp_path / "board") == {"mine.txt"}


def test_what_cannot_be_done_is_one_line_and_leaves_nothing(tmp_path):
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(DEMO_MISSION.read_text("utf-8").replace('chip = "ms5611"', 'chip = "abacus"'), "utf-8")
    for words, expected in (
        ((tmp_path / "none.toml", "--to-folder", tmp_path / "a"), "none.toml"),
        ((wrong, "--to-folder", tmp_path / "a"), "abacus"),
        ((DEMO_MISSION, "--to-folder", tmp_path / "no" / "a"), "parent folder does not exist"),
        ((DEMO_MISSION, "--to-folder", tmp_path / "a", "--flight", "5f3a1c"), "8 hexadecimal digits"),
        ((DEMO_MISSION, "--to-folder", tmp_path / "a", "--flight", "5f3a1cxy"), "8 hexadecimal digits"),
    ):
        code, line = deploy(*words)
        assert code == 1 and expected in line and "\n" not in line, line
    assert contents(tmp_path) == {"wrong.toml"}


def test_port_or_folder_must_be_said_and_not_both(tmp_path):
    for words in ((), ("--port", "/dev/null", "--to-folder", tmp_path / "a")):
        code, output = deploy(DEMO_MISSION, *words)
        assert code == 2 and "--to-folder" in output


def test_the_command_is_announced_to_the_command_line():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    assert project["project"]["entry-points"]["loftbook.commands"]["deploy"] == ENTRY.value
