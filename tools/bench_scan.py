"""How fast a whole card is searched, against reading it.

    python tools/bench_scan.py            a sparse image of 8 GB; the system's cache will hold it
    python tools/bench_scan.py --quick    a small one: only to see that it works

Needs the extra [bench], and `cat`. A flight's log lies in the middle of an image that is otherwise empty,
and some of its blocks at odd offsets. The image is read once before, so that it is in the cache. Times are
of the processor, medians of interleaved rounds; ours without the start of Python.

A sparse file's holes need not be read: the file system knows that nothing was written there. The last
line shows what it takes where it does not know, as of an image that was copied byte by byte: every byte is
read. That is done by copying, as `cat` does, and not by mapping the file, since a read error under a mapping
ends the program.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from benchmark.flight import flown_log
from benchmark.table import parser_of, print_table
from protocol.block import BLOCK_SIZE

CAT, OURS, FULL = "cat IMAGE > /dev/null", "Loftbook recover", "Loftbook recover, no holes known"
LONG_AGO_S = 3600  # what was written a moment ago is read in full
ODD_BLOCKS = 10
_CHILD = """
import re, resource, sys, time
from pathlib import Path
from ground.recover import recover_source
from ground.recover.readable import Readable
if sys.argv[2] == "full":
    Readable.hole = lambda *_: 0
start = time.process_time()
recovered = recover_source(sys.argv[1])
found = sum(boot.envelopes_found for boot in recovered.boots)
seconds = time.process_time() - start
status = Path("/proc/self/status")
if status.exists():  # getrusage on Linux also counts what the process was before it became this program
    peak = 1024 * int(re.search(r"VmHWM:\\s+(\\d+) kB", status.read_text())[1])
else:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)
print(seconds, peak, found)
"""


def write_image(path, log, size):
    """A sparse image of `size` bytes with the log in its middle, but for its first blocks, which stand at odd
    offsets.
    """
    with open(path, "wb") as file:
        file.truncate(size)
        for i in range(ODD_BLOCKS):
            file.seek(size // 4 + 10007 * i)
            file.write(log[i * BLOCK_SIZE:(i + 1) * BLOCK_SIZE])
        file.seek(size // 2)
        file.write(log[ODD_BLOCKS * BLOCK_SIZE:])
    then = time.time() - LONG_AGO_S
    os.utime(path, (then, then))


def cat_s(path):
    """Time of the processor that `cat` takes to read the image."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(["cat", path], stdout=subprocess.DEVNULL, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def recover_s(path, how, blocks):
    """(Time of the processor, peak memory in bytes) of recovery. Raises SystemExit if a block is missed."""
    command = [sys.executable, "-c", _CHILD, str(path), how]
    words = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    if int(words[2]) != blocks:
        raise SystemExit(f"{words[2]} of {blocks} blocks found")
    return float(words[0]), int(words[1])


def contest(path, blocks, rounds):
    """Rows of the table."""
    cat_s(path)  # fills the cache
    times, peaks = {CAT: [], OURS: [], FULL: []}, {OURS: 0, FULL: 0}
    for _ in range(rounds):
        times[CAT].append(cat_s(path))
        for name, how in ((OURS, "holes"), (FULL, "full")):
            seconds, peak = recover_s(path, how, blocks)
            times[name].append(seconds)
            peaks[name] = max(peaks[name], peak)
    floor = median(times[CAT])
    return [
        [
            name, f"{median(list_s):.2f}", f"{median(list_s) / floor if floor else 0:.2f}",
            f"{peaks[name] / 1e6:.0f}" if name in peaks else "",
        ]
        for name, list_s in times.items()
    ]


def main():
    """The command line."""
    parser = parser_of(__doc__, "a small image and one round")
    parser.add_argument("--gigabytes", type=float, default=8, help="size of the image (default: 8)")
    parser.add_argument("--rounds", type=int, default=3, help="the median is of so many (default: 3)")
    options = parser.parse_args()
    if options.quick:
        options.gigabytes, options.rounds = 1 / 16, 1
    log = flown_log(options.quick, parity=False)
    blocks = len(log) // BLOCK_SIZE
    with tempfile.TemporaryDirectory() as base:
        path = Path(base) / "card.img"
        size = int(options.gigabytes * (1 << 30))
        write_image(path, log, size)
        rows = contest(path, blocks, options.rounds)
    print(f"{size / 1e6:.0f} MB, {blocks} blocks; median of {options.rounds} interleaved rounds")
    print_table(["search of a card image", "s", "times cat", "peak memory, MB"], rows)
    print("All blocks were found.")


if __name__ == "__main__":
    main()
