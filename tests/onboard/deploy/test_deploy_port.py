"""loftbook deploy --port: the real mpremote, a pretended serial port, and real MicroPython behind it."""


import pytest
from deploying import DEMO_MISSION, deploy
from pretend_board import PretendBoard

FLIGHT = ("--flight", "5f3a1c22")


def contents(folder):
    paths = [path for path in folder.rglob("*") if path.is_file()]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}


def test_the_board_gets_what_the_folder_gets_and_is_restarted(tmp_path):
    assert deploy(DEMO_MISSION, "--to-folder", tmp_path / "wanted", *FLIGHT)[0] == 0
    board_folder = tmp_path / "board"
    (board_folder / "lib" / "onboard" / "firmware").mkdir(parents=True)
    (board_folder / "lib" / "onboard" / "firmware" / "old.mpy").write_text("of an earlier version")
    (board_folder / "lib" / "mine.py").write_text("mine")
    with PretendBoard(board_folder) as board:
        code, output = deploy(DEMO_MISSION, "--port", board.port, *FLIGHT)
    assert code == 0, output
    expected = contents(tmp_path / "wanted") | {"was-reset": b"", "lib/mine.py": b"mine"}
    assert contents(board_folder) == expected
    assert "5f3a1c22" in output and "Next:" in output


def test_a_cable_that_falls_out_leaves_no_half_logger_that_starts(tmp_path):
    with PretendBoard(tmp_path / "board", dies_after=20) as board:
        (tmp_path / "board" / "main.py").write_text("of an earlier version")
        code, line = deploy(DEMO_MISSION, "--port", board.port)
    assert code == 1 and board.port in line and "\n" not in line
    left = contents(tmp_path / "board")
    assert any(name.startswith("lib/") for name in left)
    assert "main.py" not in left and "was-reset" not in left


def test_a_file_that_arrives_changed_is_noticed(tmp_path):
    spoil = """
import builtins
real_open = open
class Spoilt:
    def __init__(self, file):
        self.file = file
    def write(self, data):
        return self.file.write(b"x" + data[1:])
    def close(self):
        self.file.close()
def spoilt_open(name, mode="r"):
    file = real_open(name, mode)
    return Spoilt(file) if name.endswith("region.mpy") and "w" in mode else file
builtins.open = spoilt_open
"""
    with PretendBoard(tmp_path / "board", spoil) as board:
        code, line = deploy(DEMO_MISSION, "--port", board.port)
    assert code == 1 and "region.mpy did not arrive whole" in line
    assert "main.py" not in contents(tmp_path / "board")


@pytest.mark.parametrize(
    "name, version, bytecode, expected",
    [
        ("micropython", "(1, 20, 0)", 6, "runs micropython 1.20"),
        ("micropython", "(1, 24, 0)", 5, "needs MicroPython 1.24"),
        ("otherpython", "(9, 2, 1)", 6, "runs otherpython 9.2"),
    ],
)
def test_a_board_that_cannot_run_it_is_refused_and_keeps_what_it_has(
    tmp_path, name, version, bytecode, expected
):
    pretend = f"""
import sys
class Implementation:
    name = {name!r}
    version = {version}
    _mpy = {bytecode}
class Sys:
    implementation = Implementation
sys.modules["sys"] = Sys
"""
    (tmp_path / "board").mkdir()
    (tmp_path / "board" / "main.py").write_text("mine")
    with PretendBoard(tmp_path / "board", pretend) as board:
        code, line = deploy(DEMO_MISSION, "--port", board.port)
    assert code == 1 and expected in line and "\n" not in line
    assert contents(tmp_path / "board") == {"main.py": b"mine"}


def test_a_port_that_is_not_there_is_one_line(tmp_path):
    code, line = deploy(DEMO_MISSION, "--port", tmp_path / "no-port")
    assert code == 1 and "no-port" in line and "check the cable" in line and "\n" not in line
