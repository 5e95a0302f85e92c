"""Recover from bytes that nobody of us wrote: random ones, and ones like photos, films and texts.
Nothing may be found.

    python tools/campaign_random.py --gigabytes 20

One file at a time is made, read by recover_source and deleted. Beside what is found stands what the
format's arithmetic lets expect; and to check that arithmetic, the candidates that only a CRC-16 refuses
are counted by another search.
"""

import argparse
import sys
import time
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from ground.recover import recover_source  # noqa: E402
from tools.campaign import chances, foreign  # noqa: E402
from tools.campaign.expect import MAGIC, SIZES, SYNC  # noqa: E402

FILE_MEGABYTES = 256
MEGABYTE = 1 << 20
PIECE = 16 * MEGABYTE  # files of others are put together from pieces, as on a card
# Share of the files; most are random, because for these the arithmetic is exact.
KINDS = ("noise",) * 12 + ("photo", "photo", "film", "film", "text", "sparse", "zeros", "ones")


def make(kind, seed, size):
    """Bytes of a kind: uint8 (size,)."""
    if kind in ("zeros", "ones"):
        return np.full(size, 0 if kind == "zeros" else 0xFF, np.uint8)
    if kind == "noise":
        return np.frombuffer(np.random.default_rng(seed).bytes(size), np.uint8)
    rng = Random(seed)
    pieces = [getattr(foreign, kind)(rng, min(PIECE, size - at)) for at in range(0, size, PIECE)]
    return np.frombuffer(b"".join(pieces), np.uint8)


def candidates(data):
    """(magics, packets that only the CRC could refuse), by a search of its own."""
    data = data.tobytes()
    count, at = 0, data.find(SYNC)
    while at >= 0:
        length = data[at + 2] if at + 2 < len(data) else 0
        if 1 <= length <= 200 and at + 13 + length <= len(data):
            record, stop = at + 11, at + 11 + length
            while record < stop:
                record += SIZES.get(data[record], 1000)
            count += record == stop
        at = data.find(SYNC, at + 2)
    return data.count(MAGIC), count


def reported(recovered):
    """Lines about everything of ours that recovery believes to have seen."""
    lines = [f"boot {boot.boot} of flight {boot.flight}" for boot in recovered.boots]
    known = ("unwritten_zeros", "unwritten_ones", "other")
    return lines + [
        f"{item.state} at {item.offset}: {item.detail}"
        for item in recovered.ledger.ranges if item.state not in known
    ]


def main(arguments=None):
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--gigabytes", type=float, default=20)
    parser.add_argument("--megabytes-a-file", type=float, default=FILE_MEGABYTES)
    parser.add_argument("--seed", type=int, default=1, help="of the first file; the next has the next one")
    parser.add_argument("--folder", help="where the files are made, if not where the system does")
    options = parser.parse_args(arguments)
    left, seed, found = int(options.gigabytes * 1e9), options.seed, []
    noise = magics = near = total = 0
    reading = 0.0
    with TemporaryDirectory(dir=options.folder) as folder:
        path = Path(folder) / "random.bin"
        while left > 0:
            size = min(left, int(options.megabytes_a_file * MEGABYTE))
            kind = KINDS[(seed - options.seed) % len(KINDS)]
            data = make(kind, seed, size)
            path.write_bytes(data)
            began = time.monotonic()
            lines = reported(recover_source(path))
            reading += time.monotonic() - began
            found += [f"seed {seed} ({kind}, {size} bytes): {line}" for line in lines]
            if kind == "noise":
                more = candidates(data)
                noise, magics, near = noise + size, magics + more[0], near + more[1]
            print(f"seed {seed}: {size} bytes of {kind}, {len(lines)} reported", flush=True)
            left, seed, total = left - size, seed + 1, total + size
    _tell(noise, magics, near, total, reading)
    for line in found:
        print(f"FAILED {line}")
    print(f"{total} bytes in {seed - options.seed} files, {len(found)} reported")
    return 1 if found else 0


def _tell(noise, magics, near, total, reading):
    print(f"read at {total / 1e6 / max(reading, 1e-9):.0f} MB/s")
    print("of random bytes alone, expected and seen:")
    print(f"  magics                              {noise * 2.0**-32:12.4g} {magics:8d}")
    print(f"  packets that only the CRC refuses   {noise * chances.candidate():12.4g} {near:8d}")
    print(f"  false blocks                        {noise * chances.BLOCK:12.4g}")
    print(f"  false packets                       {noise * chances.packet():12.4g}")
    for gigabytes in (1, 20, 64, 512):
        positions = gigabytes * 1e9
        print(
            f"in {gigabytes} GB of random bytes: {positions * chances.BLOCK:.2g} false blocks, "
            f"{positions * chances.packet():.2g} false packets, {chances.pair(positions):.2g} pairs of them "
            "of one flight and boot"
        )


if __name__ == "__main__":
    sys.exit(main())
