"""The format is written once: no second table, no struct format and no scale outside protocol/."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from protocol.table import KINDS, split_field
from protocol.wire import wire_size

ROOT = Path(__file__).resolve().parents[2]
# A reading needs "I" or "<I" of its own (a check sum) here and there; a record's or header's format has more.
STRUCT_FORMAT = re.compile(r"[<>=!@]?(\d*[bBhHiIlLqQs]){3,}")


def sources():
    for top in ("ground", "onboard"):
        for path in sorted((ROOT / top).rglob("*.py")):
            yield path, ast.parse(path.read_text("utf-8"))


def test_no_struct_format_stands_outside_the_protocol():
    found = [
        f"{path.relative_to(ROOT)}:{node.lineno} {node.value!r}"
        for path, tree in sources()
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
        and STRUCT_FORMAT.fullmatch(node.value) and node.value[0] in "<>=!@"
    ]
    assert found == []


def test_the_large_scales_stand_nowhere_else():
    # Divisors such as 10, 100 and 1000 are also metres in a kilometre; 5 000 000 is the fix record's alone.
    large = {split_field(f)[2] for _, _, fields in KINDS for f in fields if split_field(f)[2] > 1000}
    assert large
    found = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path, tree in sources()
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and type(node.value) in (int, float) and node.value in large
    ]
    assert found == []


def test_no_record_size_stands_anywhere():
    # Sizes of whole records that are odd enough to be no accident.
    sizes = {3 + sum(wire_size(split_field(f)[1]) for f in fields) for _, _, fields in KINDS} - {6, 9, 11, 15, 17, 18, 29, 30}
    assert sizes == {53}
    found = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path, tree in sources()
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and type(node.value) is int and node.value in sizes
    ]
    assert found == []


@pytest.mark.parametrize("tool", ["make_format.py", "make_vectors.py"])
def test_what_is_generated_is_fresh(tool):
    done = subprocess.run([sys.executable, str(ROOT / "tools" / tool), "--check"], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_the_motion_axes_stand_together():
    # The driver fills x, y and z from the place of x on.
    names = [split_field(f)[0] for f in next(fields for _, name, fields in KINDS if name == "motion")]
    for first in ("acceleration_x_counts", "rate_x_counts"):
        at = names.index(first)
        assert [name[-8] for name in names[at : at + 3]] == ["x", "y", "z"]
