"""Drivers and tasks on the virtual devices: the same checks on CPython and both MicroPython interpreters."""

import shutil
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest
from onboard.simulator import runners

HERE = Path(__file__).parent
MODULES = ("driver_checks", "onewire_checks", "sensor_task_checks", "parts_checks", "quiet_checks")
CHECKS = {name: check for module in MODULES for name, check in import_module(module).CHECKS.items()}


@pytest.fixture(scope="module")
def staged(tmp_path_factory):
    folder = tmp_path_factory.mktemp("staged")
    runners.stage(folder)
    for name in ("driver_bench", *MODULES, "driver_run"):
        shutil.copy(HERE / f"{name}.py", folder)
    return folder


def told(done):
    """What driver_run.py printed: dict check -> "ok" or what is wrong."""
    assert done.returncode == 0, done.stdout + done.stderr
    return dict(line.split(" ", 1) for line in done.stdout.splitlines())


@pytest.fixture(scope="module")
def on_unix(staged):
    return told(
        subprocess.run(
            [*runners.unix_command("16wM"), "driver_run.py"], cwd=staged, capture_output=True, text=True,
            env={"MICROPYPATH": "."},
        )
    )


@pytest.fixture(scope="module")
def on_wasm(staged):
    code = (
        "import sys; from onboard.simulator.webassembly import run;"
        "sys.exit(run(['/staged/driver_run.py'], {sys.argv[1]: '/staged'}, '16M')[0])"
    )
    return told(subprocess.run([sys.executable, "-c", code, str(staged)], capture_output=True, text=True))


@pytest.mark.parametrize("name", CHECKS)
def test_on_cpython(name):
    CHECKS[name]()


@pytest.mark.parametrize("name", CHECKS)
def test_on_the_unix_port(on_unix, name):
    assert on_unix[name] == "ok"


@pytest.mark.parametrize("name", CHECKS)
def test_in_webassembly(on_wasm, name):
    assert on_wasm[name] == "ok"
