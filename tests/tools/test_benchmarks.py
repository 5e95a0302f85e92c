"""Every benchmark runs, prints its table, and finds the same numbers in all formats. Speed is not tested."""

import re
import shutil
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
NEEDED = ("pyarrow", "pandas", "orjson", "msgpack", "cbor2", "google.protobuf")


def _is_missing(name):
    try:
        return find_spec(name) is None
    except ModuleNotFoundError:
        return True


MISSING = [name for name in NEEDED if _is_missing(name)]
pytestmark = pytest.mark.skipif(
    bool(MISSING), reason=f"the extra [bench] is not installed: no {', '.join(MISSING)}"
)


def run(tool):
    """Lines of what a benchmark prints in a quick run."""
    done = subprocess.run(
        [sys.executable, str(ROOT / "tools" / f"{tool}.py"), "--quick"], cwd=ROOT, capture_output=True,
        text=True, encoding="utf-8",
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


def cells(lines, head):
    """Rows of a table as lists of cells, the first row under its head line."""
    start = next(i for i, line in enumerate(lines) if line.startswith(head))
    rows = []
    for line in lines[start + 1:]:
        row = re.split(r" {2,}", line)
        if len(row) == 1:
            break
        rows.append(row)
    return rows


def test_all_formats_decode_to_the_same_numbers():
    lines = run("bench_decode")
    assert lines[-1] == "All contestants read the same numbers."
    rows = {row[0].rstrip(" *"): row[1:] for row in cells(lines, "from bytes to columns")}
    assert {
        "one CRC-32 over the bytes", "Loftbook recover",
        "our bytes, construct, compiled", "our bytes, construct",
        "CSV, a file a kind, pyarrow", "CSV, a file a kind, pandas", "JSON lines", "MessagePack", "CBOR",
        "Protocol Buffers",
    } <= rows.keys()
    assert all(float(cell) > 0 for row in rows.values() for cell in row)


def test_all_formats_hold_the_same_numbers_in_other_sizes():
    lines = run("bench_size")
    assert lines[-1] == "All formats hold the same numbers."
    rows = {row[0]: row[1:] for row in cells(lines, "format")}
    assert float(rows["Loftbook, checked"][2]) == 1
    assert float(rows["CSV in integers, one file, kinds by number"][2]) < 1
    assert float(rows["JSON lines"][1]) > float(rows["CSV in integers, a file a kind"][1])


def test_only_our_format_never_gives_back_what_was_not_written():
    lines = run("bench_damage")
    assert lines[-1] == "Without damage, all formats give back the same records."
    rows = cells(lines, "damage")
    ours = [row for row in rows if row[1].startswith("Loftbook")]
    assert len(ours) == 10
    assert all(row[4] == row[7] == "0" for row in ours)
    # Without a check sum there is no telling.
    flipped = [row for row in rows if row[0] == "100 bits flipped" and row not in ours]
    assert all(int(row[7]) > 0 for row in flipped)
    # The usual readers stop at the first fault; what stands behind it is still found here.
    kept = {row[1]: int(row[2]) for row in rows if row[0] == "4 KB of noise at a third"}
    assert kept["Loftbook"] > 2 * kept["CSV"]


@pytest.mark.skipif(shutil.which("cat") is None, reason="no `cat` on this system to compare with")
def test_the_search_of_a_card_finds_every_block():
    lines = run("bench_scan")
    assert lines[-1] == "All blocks were found."
    assert [row[0] for row in cells(lines, "search of a card image")] == [
        "cat IMAGE > /dev/null", "Loftbook recover", "Loftbook recover, no holes known",
    ]
