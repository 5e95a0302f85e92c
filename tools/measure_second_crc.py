"""Is a second CRC inside the block worth its bytes? A flight's records packed with one, two and four check sums.

    python tools/measure_second_crc.py CARD.img

Takes the records of a whole card in their order (plain_decoder.py reads them), packs them into 512-byte blocks of 1, 2
or 4 sections that each end in a CRC-32 of their own, applies the same seeded damage to each and counts the records that
are still proven, first by the check sums alone and then with what this format has besides: the repair of a single
bit, and parity (a damaged block comes back if it is the only one of its group; sections do not change that).
"""

import argparse
import random
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from plain_decoder import KINDS, decode_record, scan  # noqa: E402

HEADER, CRC, BLOCK = 29, 4, 512
CASES = 200


def record_sizes(path):
    sizes = {}
    for _, what, _, records in scan(Path(path).read_bytes()):
        for name, _, _ in records:
            if name not in sizes:
                number = next(number for number, (kind, _) in KINDS.items() if kind == name)
                sizes[name] = decode_record(bytes([number]) + bytes(255), 0, KINDS)[3]
            yield sizes[name]


def packed(sizes, sections):
    """Blocks as lists of sections, each (first byte, end, number of records)."""
    ends = [BLOCK * (i + 1) // sections for i in range(sections)]
    blocks, block, start, used, count = [], [], 0, HEADER, 0
    for size in sizes:
        while used + size > ends[len(block)] - CRC:
            block.append((start, ends[len(block)], count))
            start, used, count = block[-1][1], block[-1][1], 0
            if len(block) == sections:
                blocks.append(block)
                block, start, used = [], 0, HEADER + 2 * (sections - 1)  # a length a section
        used += size
        count += 1
    return blocks


def records_lost(blocks, hits):
    """Records in sections that were hit. hits: dict of block -> list of hit byte ranges."""
    lost = 0
    for number, ranges in hits.items():
        for first, end, count in blocks[number]:
            if any(first < stop and start < end for start, stop in ranges):
                lost += count
    return lost


def torn(rng, blocks):
    return {len(blocks) - 1: [(rng.randrange(1, BLOCK), BLOCK)]}


def flips(rng, blocks):
    hits = {}
    for _ in range(100):
        at = rng.randrange(BLOCK)
        hits.setdefault(rng.randrange(len(blocks)), []).append((at, at + 1))
    return hits


def wiped(rng, blocks):
    return {number: [(0, BLOCK)] for number in rng.sample(range(len(blocks)), 8)}


def overwritten(rng, blocks):
    first, at = rng.randrange(len(blocks) - 10), rng.randrange(BLOCK)
    return {first: [(at, BLOCK)], **{first + k: [(0, BLOCK)] for k in range(1, 8)}, first + 8: [(0, at)]}


def with_help(hits, blocks, depth=16, rate=10):
    """The hits that repair and parity leave: the last, incomplete stripe has no parity."""
    stripe = depth * rate
    left, groups = {}, {}
    for number, ranges in hits.items():
        if not (len(ranges) == 1 and ranges[0][1] - ranges[0][0] == 1):  # one flipped bit is repaired
            groups.setdefault((number // stripe, number % depth), []).append(number)
    for (first, _), numbers in groups.items():
        if len(numbers) > 1 or (first + 1) * stripe > len(blocks):
            left.update((number, hits[number]) for number in numbers)
    return left


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("card", help="image of a whole card, such as the demo's card-before.img")
    sizes = list(record_sizes(parser.parse_args().card))
    print(f"{len(sizes)} records, {CASES} cases a pattern; mean records lost: by check sums alone / with repair and parity")
    print(f"{'check sums a block':<22}{'blocks':>8}{'more':>8}" + "".join(f"{p.__name__:>18}" for p in PATTERNS))
    base = None
    for sections in (1, 2, 4):
        blocks = packed(sizes, sections)
        base = base or len(blocks)
        row = f"{sections:<22}{len(blocks):>8}{100 * (len(blocks) / base - 1):>7.1f}%"
        for pattern in PATTERNS:
            rng = random.Random(7)
            cases = [pattern(rng, blocks) for _ in range(CASES)]
            alone = sum(records_lost(blocks, hits) for hits in cases) / CASES
            helped = sum(records_lost(blocks, with_help(hits, blocks)) for hits in cases) / CASES
            row += f"{alone:>10.1f} /{helped:>6.1f}"
        print(row)


PATTERNS = (torn, flips, wiped, overwritten)

if __name__ == "__main__":
    main()
