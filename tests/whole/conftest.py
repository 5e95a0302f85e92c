"""One flight of the demo, flown, damaged and recovered once for all tests here."""

import json
import subprocess
import sys

import pytest


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """The folder of a demo flown on the unix port, and what the command printed."""
    base = tmp_path_factory.mktemp("demo")
    done = subprocess.run(
        [sys.executable, "-m", "ground", "demo", "-o", "flown"], cwd=base, capture_output=True, text=True,
        encoding="utf-8",
    )
    assert done.returncode == 0, done.stderr
    folder = base / "flown"
    return folder, done.stdout


@pytest.fixture(scope="session")
def summary(demo):
    """The summary of the recovered flight."""
    return json.loads((demo[0] / "recovered" / "summary.json").read_text("utf-8"))


@pytest.fixture(scope="session")
def truth(demo):
    """The simulator's figures of the same flight."""
    return json.loads((demo[0] / "truth.json").read_text("utf-8"))
