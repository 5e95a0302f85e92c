"""Drivers, tasks, receiver and downlink on the virtual devices: the same checks on CPython and on both MicroPython
interpreters.
"""

from importlib import import_module

import everywhere
import pytest

MODULES = (
    "driver_checks", "onewire_checks", "sensor_task_checks", "parts_checks", "quiet_checks", "receiver_checks",
    "downlink_checks",
)
CHECKS = {name: check for module in MODULES for name, check in import_module(module).CHECKS.items()}


@pytest.fixture(scope="module")
def staged(tmp_path_factory):
    return everywhere.stage(tmp_path_factory.mktemp("staged"), MODULES, ["driver_bench"])


@pytest.fixture(scope="module")
def on_unix(staged):
    return everywhere.on_unix(staged, MODULES)


@pytest.fixture(scope="module")
def on_wasm(staged):
    return everywhere.on_wasm(staged, MODULES)


@pytest.mark.parametrize("name", CHECKS)
def test_on_cpython(name):
    CHECKS[name]()


@pytest.mark.parametrize("name", CHECKS)
def test_on_the_unix_port(on_unix, name):
    assert on_unix[name] == "ok"


@pytest.mark.parametrize("name", CHECKS)
def test_in_webassembly(on_wasm, name):
    assert on_wasm[name] == "ok"
