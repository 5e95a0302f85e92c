"""Numbers of the format that the firmware has as constants of its own, because a board has no room for their names."""

import importlib
import pkgutil

import pytest

import onboard.firmware
from onboard.firmware import nmea, phase, store, upkeep
from protocol import record, tick
from protocol.table import DEVICES, EVENTS, KINDS, PHASES, split_field

MODULES = [
    module.name for module in pkgutil.iter_modules(onboard.firmware.__path__)
    if module.name not in ("main", "hardware")  # they need a real board's machine module
]


def constant(name):
    return "_" + name.upper().replace(" ", "_")


@pytest.mark.parametrize("name", MODULES)
def test_every_event_that_a_module_names_has_its_code(name):
    module = importlib.import_module("onboard.firmware." + name)
    for code, event in EVENTS:
        assert getattr(module, constant(event), code) == code


def test_the_store_and_the_tasks_name_their_events():
    codes = {event: code for code, event in EVENTS}
    assert store._CARD_FULL == codes["card full"] and store._BLOCKS_LOST == codes["blocks lost"]
    assert store._CARD == DEVICES.index("card")


@pytest.mark.parametrize("module, kind", [(nmea, "fix"), (upkeep, "health")])
def test_every_field_of_a_record_has_its_place(module, kind):
    fields = next(fields for _, name, fields in KINDS if name == kind)
    for place, field in enumerate(fields):
        assert getattr(module, constant(split_field(field)[0])) == place


def test_the_envelope_reckons_times_as_ticks_do():
    assert record._HALF * 2 == tick.TICK_PERIOD and record._MASK == tick.TICK_MASK


def test_the_phases_have_their_numbers():
    assert [getattr(phase, name.upper()) for name in PHASES] == list(range(len(PHASES)))
