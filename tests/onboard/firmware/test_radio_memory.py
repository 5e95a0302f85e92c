"""The downlink and the receiver's configuration in the memory of a board: no beacon allocates anything."""

import subprocess
import sys

import pytest
from test_memory import BYTES_A_BLOCK, HERE, UNIX_HEAP, figures, staged  # noqa: F401

from onboard.simulator import runners

RUN = HERE / "radio_bench_run.py"
# With a downlink and a receiver to be set the logger needs more than the 64 KB that it has without them: on a
# 32-bit machine 20 KB more while it boots, 4 KB of them for the interpreter's next table of names.
WASM_HEAP = "88k"


@pytest.fixture
def bench(staged):  # noqa: F811
    (staged / RUN.name).write_text(RUN.read_text("utf-8"), "utf-8")
    return staged


def test_on_the_unix_port_no_packet_allocates(bench):
    done = subprocess.run(
        [*runners.unix_command(UNIX_HEAP), RUN.name, "locked"], cwd=bench, capture_output=True, text=True,
        env={"MICROPYPATH": "."},
    )
    found = figures(done)
    assert found["asked"] == 1  # the receiver took its model
    assert found["packets"] > 100 and found["bytes"] > 5_000
    assert found["free"] > 6_000


def test_on_32_bits_only_the_check_sum_of_a_block_allocates(bench):
    code = (
        "import sys; from onboard.simulator.webassembly import run;"
        "sys.exit(run(['/staged/radio_bench_run.py'], {sys.argv[1]: '/staged'}, sys.argv[2])[0])"
    )
    done = subprocess.run([sys.executable, "-c", code, str(bench), WASM_HEAP], capture_output=True, text=True)
    found = figures(done)
    assert found["packets"] > 100
    assert found["allocated"] <= found["blocks"] * BYTES_A_BLOCK
