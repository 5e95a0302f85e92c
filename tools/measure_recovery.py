"""Measure what recovering a large card image takes: time and peak memory of `loftbook recover`.

    python tools/measure_recovery.py                     an image of 64 GB, sparse, with a flight's log in it
    python tools/measure_recovery.py --gigabytes 2 --limit 300

Exit 1 if more than --limit MB (10^6 bytes) of memory were taken. The image goes to the temporary folder,
which must be of a file system that knows sparse files.
"""

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from protocol.block import BlockBuilder  # noqa: E402
from protocol.record import Layout  # noqa: E402

FLIGHT = b"\x0e\xa5\x12\x34"


def log_of(blocks):
    """The bytes of a log of so many blocks, full of motion records."""
    builder, layout, tick = BlockBuilder(), Layout("motion"), 0
    written = []
    for number in range(blocks):
        builder.open(tick)
        while builder.fits(layout, tick):
            layout.values[:] = [(tick * factor) % 4001 - 2000 for factor in (1, 3, 5, 7, 11, 13)]
            builder.add(layout, tick)
            tick += 20
        builder.close(FLIGHT, 1, number, 1)
        written.append(bytes(builder.buffer))
    return b"".join(written)


def measure(size, blocks, folder):
    """(seconds, peak memory in bytes) of recovering an image of this size, made in a folder."""
    image = Path(folder) / "card.img"
    with open(image, "wb") as file:
        file.truncate(size)
        file.seek(size // 3 // 512 * 512)
        file.write(log_of(blocks))
    command = [sys.executable, "-m", "ground", "recover", str(image), "-o", str(Path(folder) / "recovered")]
    start = time.monotonic()
    done = subprocess.run(
        command, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": str(ROOT)}
    )
    seconds = time.monotonic() - start
    if done.returncode:
        sys.exit(f"recover ended with {done.returncode}: {done.stdout}{done.stderr}")
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return seconds, peak if sys.platform == "darwin" else peak * 1024


def main():
    parser = argparse.ArgumentParser(description="Measure time and memory of recovering a sparse image.")
    parser.add_argument("--gigabytes", type=float, default=64)
    parser.add_argument("--blocks", type=int, default=6000, help="in the log; this many are three hours")
    parser.add_argument("--limit", type=float, default=300, metavar="MB")
    options = parser.parse_args()
    size = int(options.gigabytes * 10**9) // 512 * 512
    with tempfile.TemporaryDirectory() as folder:
        seconds, peak = measure(size, options.blocks, folder)
    rate = size / seconds / 1e9
    print(f"{size} bytes, {options.blocks} blocks: {seconds:.1f} s, {rate:.2f} GB/s, {peak / 1e6:.0f} MB")
    sys.exit(peak > options.limit * 1e6)


if __name__ == "__main__":
    main()
