"""How fast a log becomes columns of numbers, against the check sum alone and against other formats.

    python tools/bench_decode.py            about forty megabytes, five rounds; a few minutes
    python tools/bench_decode.py --quick    a short flight, one round: only to see that it works

Needs the extra [bench]. One flight is flown by the firmware on this interpreter, and repeated. All
contestants take turns in one run, on one core each; the table gives medians. The other formats hold the
same integers of all records but the manifest's and nothing else, and are read from memory; ours is read
from a file, with search, check sums, order, ledger and all. What is too slow for the whole log is timed on
one flight of it and scaled by the records.
"""

import tempfile
from pathlib import Path
from zlib import crc32

import numpy as np

from benchmark.columns import (
    arrow_columns, construct_records, construct_structures, construct_sums, pandas_columns, recovered_columns,
    rows_to_columns, sums_of,
)
from benchmark.flight import contents_of, flown_log, lengthened_log
from benchmark.peers import PEERS, csv_tables
from benchmark.table import agree, interleaved, parser_of, print_table
from ground.recover import recover_source
from protocol.block import BLOCK_SIZE

FLOOR, OURS = "one CRC-32 over the bytes", "Loftbook recover"
NOISE, FLIPS = "the same, noise in 1 % of the blocks", "the same, a bit flipped in 1 %, and repaired"
CSV = "CSV, a file a kind"
SEED = 4
NOISE_SIZE = 32


def damaged_log(log, size):
    """The log with other bytes in a place of that size in one percent of its blocks, or, if size is 0, with
    one bit flipped in each of these.
    """
    rng = np.random.default_rng(SEED)
    data = np.frombuffer(log, np.uint8).copy()
    count = len(log) // BLOCK_SIZE
    for block in rng.choice(count, max(1, count // 100), replace=False).tolist():
        at = block * BLOCK_SIZE + int(rng.integers(BLOCK_SIZE - size))
        if size:
            data[at:at + size] = np.frombuffer(rng.bytes(size), np.uint8)
        else:
            data[at] ^= 1 << int(rng.integers(8))
    return data.tobytes()


def contest(folder, log, long_log, rounds):
    """Run it: rows of the table, and the number of records."""
    logs = {
        "one": log, OURS: long_log, NOISE: damaged_log(long_log, NOISE_SIZE), FLIPS: damaged_log(long_log, 0),
    }
    paths = {name: folder / f"{index}.log" for index, name in enumerate(logs)}
    for name, path in paths.items():
        path.write_bytes(logs[name])
    one, whole = contents_of(paths["one"]), contents_of(paths[OURS])
    tables = csv_tables(whole)
    rows = one.rows()
    encoded = {peer.name: (peer, peer.encode(rows)) for peer in PEERS[1:]}
    plain, compiled = construct_structures(False), construct_structures(True)

    fast = {
        FLOOR: lambda: crc32(long_log),
        **{name: lambda path=paths[name]: recover_source(path) for name in (OURS, NOISE, FLIPS)},
        f"{CSV}, pyarrow": lambda: arrow_columns(tables),
        f"{CSV}, pandas": lambda: pandas_columns(tables),
    }
    slow = {
        "our bytes, construct, compiled": lambda: construct_records(log, compiled),
        "our bytes, construct": lambda: construct_records(log, plain),
        **{name: lambda p=peer, d=data: rows_to_columns(p.read(d)) for name, (peer, data) in encoded.items()},
    }
    truth = {name: whole.sums() if name in fast else one.sums() for name in {**fast, **slow}}

    def check(name, result):
        if name == OURS:
            agree(sums_of(recovered_columns(result)), name, truth[name])
        elif name not in (FLOOR, NOISE, FLIPS):
            agree(construct_sums(result) if "construct" in name else sums_of(result), name, truth[name])

    times = interleaved({**fast, **slow}, rounds, check)
    scale = whole.count / one.count
    seconds = {name: time * (scale if name in slow else 1) for name, time in times.items()}
    return [
        [
            name + (" *" if name in slow else ""), f"{whole.count / time / 1e6:.2f}",
            f"{len(long_log) / time / 1e6:.1f}", f"{time / seconds[FLOOR]:.1f}",
            f"{time / seconds[OURS]:.2f}",
        ]
        for name, time in seconds.items()
    ], whole.count


def main():
    """The command line."""
    parser = parser_of(__doc__, "a short flight and one round")
    parser.add_argument("--megabytes", type=float, default=40, help="length of the log (default: 40)")
    parser.add_argument("--rounds", type=int, default=5, help="the median is of so many (default: 5)")
    options = parser.parse_args()
    if options.quick:
        options.megabytes, options.rounds = 0.3, 1
    log = flown_log(options.quick, parity=False)
    long_log = lengthened_log(log, options.megabytes)
    with tempfile.TemporaryDirectory() as base:
        rows, count = contest(Path(base), log, long_log, options.rounds)
    print(f"{len(long_log) / 1e6:.1f} MB, {count} records; median of {options.rounds} interleaved rounds")
    print_table(
        ["from bytes to columns", "million records/s", "MB/s of the log", "times CRC", "times ours"], rows
    )
    print("* timed on one flight and scaled")
    print("All contestants read the same numbers.")


if __name__ == "__main__":
    main()
