"""How many bytes an hour of flight takes, in our format and in others.

    python tools/bench_size.py            a whole flight, flown twice (with and without parity)
    python tools/bench_size.py --quick    the beginning of one: only to see that it works

Needs the extra [bench]. All formats hold the same integers, at the same resolution, of the same records.
Ours has its manifest besides, a CRC-32 in every block, and in the second line parity; the others have no
check at all.
"""

import tempfile
from pathlib import Path

from benchmark.columns import rows_to_columns, sums_of
from benchmark.flight import contents_of, flown_log
from benchmark.peers import PEERS, csv_lines, csv_tables, named_csv_lines
from benchmark.table import agree, parser_of, print_table

OURS, PARITY = "Loftbook, checked", "Loftbook, checked, with parity"
CSV = "CSV in integers, one file, kinds by number"


def sizes(quick):
    """(Name to bytes, Contents, duration in hours) of a flight in every format."""
    log, with_parity = flown_log(quick, parity=False), flown_log(quick, parity=True)
    with tempfile.TemporaryDirectory() as base:
        path = Path(base) / "one.log"
        path.write_bytes(log)
        contents = contents_of(path)
    rows = contents.rows()
    found = {OURS: len(log), PARITY: len(with_parity)}
    found[CSV] = len(csv_lines(rows))
    found["CSV in integers, one file, kinds by name"] = len(named_csv_lines(rows))
    found["CSV in integers, a file a kind"] = sum(map(len, csv_tables(contents).values()))
    for peer in PEERS:
        data = peer.encode(rows)
        agree(sums_of(rows_to_columns(peer.read(data))), peer.name, contents.sums())
        if peer.name != "CSV":
            found[peer.name] = len(data)
    return found, contents, (rows[-1][1] - rows[0][1]) / 3.6e6


def main():
    """The command line."""
    options = parser_of(__doc__, "only the beginning of the flight").parse_args()
    found, contents, hours = sizes(options.quick)
    print(f"{contents.count} records in {hours:.2f} h of flight")
    print_table(
        ["format", "kB an hour", "bytes a record", "ours", "ours with parity"],
        [
            [
                name, f"{size / hours / 1000:.0f}", f"{size / contents.count:.1f}",
                f"{found[OURS] / size:.3f}", f"{found[PARITY] / size:.3f}",
            ]
            for name, size in found.items()
        ],
    )
    print("The last columns: what ours takes, as a part of that format.")
    print("All formats hold the same numbers.")


if __name__ == "__main__":
    main()
