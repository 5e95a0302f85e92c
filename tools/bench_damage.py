"""What a damaged flight still yields, in our format and in others.

    python tools/bench_damage.py            a whole flight
    python tools/bench_damage.py --quick    the beginning of one: only to see that it works

Needs the extra [bench]. The same damage, seeded, is done to the same flight in each format, at the same
parts of the file's length. "Read" is the usual reader, which stops at the first fault; "salvaged" goes on
behind a fault as well as the format allows. "Lost" are records that are missing then, "false" are records
that were never written and come back as if they had been: a changed digit, or the time of one record with
the values of another.
"""

import random
import tempfile
from collections import Counter
from itertools import takewhile
from pathlib import Path

from benchmark.columns import recovered_columns
from benchmark.flight import contents_of, flown_log
from benchmark.peers import PEERS, is_record
from benchmark.table import parser_of, print_table
from ground.recover import recover_source

SEED = 11
SECTOR = 512
BITS, SECTORS, GARBAGE = 100, 8, 4096


def flip(data, draw):
    """100 bits."""
    damaged = bytearray(data)
    for _ in range(BITS):
        damaged[int(draw.random() * len(data))] ^= 1 << draw.randrange(8)
    return bytes(damaged)


def wipe(data, draw):
    """8 sectors."""
    damaged = bytearray(data)
    for _ in range(SECTORS):
        at = int(draw.random() * (len(data) // SECTOR)) * SECTOR
        damaged[at:at + SECTOR] = bytes(SECTOR)
    return bytes(damaged)


def cut(data, draw):
    """The second half."""
    return data[:len(data) // 2]


def insert(data, draw):
    """4 KB of noise at a third."""
    at = len(data) // 3
    return data[:at] + draw.randbytes(GARBAGE) + data[at:]


DAMAGES = {
    "none": lambda data, draw: data, f"{BITS} bits flipped": flip, f"{SECTORS} sectors wiped": wipe,
    "second half cut off": cut, "4 KB of noise at a third": insert,
}


def rows_until_fault(rows):
    """What an iterator gives before it raises, or gives what is no record."""
    taken = []
    try:
        taken.extend(takewhile(is_record, rows))
    except Exception:  # each library has its own exceptions for bytes that it cannot read
        pass
    return taken


def recovered_rows(data, folder):
    """Rows that recovery finds in a log."""
    path = folder / "damaged.log"
    path.write_bytes(data)
    columns = recovered_columns(recover_source(path))
    return [
        (number, *row) for number, group in columns.items()
        for row in zip(*(column.tolist() for column in group), strict=True)
    ]


def judged(truth, rows):
    """(right, lost, false) counts of rows, by the Counter of what was written."""
    found = Counter(map(tuple, rows))
    right = (truth & found).total()
    return right, truth.total() - right, found.total() - right


def judge(quick, folder):
    """Rows of the table."""
    plain, with_parity = flown_log(quick, parity=False), flown_log(quick, parity=True)
    written = {}
    for name, log in (("Loftbook", plain), ("Loftbook, with parity", with_parity)):
        path = folder / "one.log"
        path.write_bytes(log)
        written[name] = (log, Counter(contents_of(path).rows()))
    truth = written["Loftbook"][1]
    rows = list(truth.elements())
    rows.sort(key=lambda row: row[1])
    encoded = {peer: peer.encode(rows) for peer in PEERS}
    table = []
    for damage, do in DAMAGES.items():
        for peer, data in encoded.items():
            damaged = do(data, random.Random(SEED))
            read = judged(truth, rows_until_fault(peer.read(damaged)))
            table.append([damage, peer.name, *read, *judged(truth, peer.salvage(damaged))])
        for name, (log, log_truth) in written.items():
            damaged = do(log, random.Random(SEED))
            found = judged(log_truth, recovered_rows(damaged, folder))
            table.append([damage, name, *found, *found])
    return table


def main():
    """The command line."""
    options = parser_of(__doc__, "only the beginning of the flight").parse_args()
    with tempfile.TemporaryDirectory() as base:
        rows = judge(options.quick, Path(base))
    heads = ["damage", "format", "read", "lost", "false", "salvaged", "lost", "false"]
    print_table(heads, rows, texts=2)
    if any(lost or false for damage, _, _, lost, false, *_ in rows if damage == "none"):
        raise SystemExit("a format does not give back what was written, without any damage")
    print("Without damage, all formats give back the same records.")


if __name__ == "__main__":
    main()
