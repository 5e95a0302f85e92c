"""The same seed gives the same bytes on the card on CPython and on both MicroPython interpreters."""

import dataclasses
import hashlib
from struct import unpack_from

import pytest

from ground.mission import load_mission
from onboard.simulator import runners
from onboard.simulator.commands import DEMO_MISSION
from onboard.simulator.prepare import CARD_NAME, copy_prepared, prepare
from protocol.block import BLOCK_HEADER, BLOCK_HEADER_FIELDS, FLAG_PARITY, is_whole


@pytest.fixture(scope="module")
def flown(tmp_path_factory):
    """A low flight with a burst, flown three times; folders by interpreter, and the truth."""
    base = tmp_path_factory.mktemp("flown")
    mission = load_mission(DEMO_MISSION)
    mission = dataclasses.replace(
        mission, balloon=dataclasses.replace(mission.balloon, burst_diameter_m=1.87)
    )
    truth = prepare(mission, 11, base / "cpython", wait_s=90.0, after_s=120.0)
    for name in ("unix", "wasm"):
        copy_prepared(base / "cpython", base / name)
    runners.stage(base / "staged")
    runners.run_in_process(base / "cpython")
    runners.run_on_unix(base / "unix", base / "staged")
    runners.run_on_wasm(base / "wasm", base / "staged")
    return base, truth


def blocks(image):
    return [
        bytearray(image[at : at + 512]) for at in range(0, len(image), 512) if image[at : at + 4] == b"\x8cLB\xe7"
    ]


def test_the_flight_is_long_enough_and_has_a_burst(flown):
    _, truth = flown
    assert truth.time_s[-1] >= 600
    assert truth.release.time_s < truth.burst.time_s < truth.landing.time_s < truth.time_s[-1]
    assert truth.burst.height_m > truth.landing.height_m + 500


@pytest.mark.parametrize("name", ["unix", "wasm"])
def test_the_card_is_the_same_to_the_byte(flown, name):
    base, _ = flown
    digests = {
        other: hashlib.sha256((base / other / CARD_NAME).read_bytes()).hexdigest() for other in ("cpython", name)
    }
    assert digests[name] == digests["cpython"]


def test_the_card_holds_a_block_every_two_seconds_and_all_phases(flown):
    base, truth = flown
    found = blocks((base / "wasm" / CARD_NAME).read_bytes())
    assert all(is_whole(block) for block in found)
    assert len(found) >= truth.time_s[-1] / 2
    data = [unpack_from(BLOCK_HEADER, block, 0) for block in found if not block[5] & FLAG_PARITY]
    assert {header[BLOCK_HEADER_FIELDS.index("phase")] for header in data} == {0, 1, 2, 3}
    assert len(found) - len(data) >= 16  # parity too


def test_another_seed_gives_other_bytes(flown, tmp_path):
    base, _ = flown
    mission = load_mission(DEMO_MISSION)
    mission = dataclasses.replace(
        mission, balloon=dataclasses.replace(mission.balloon, burst_diameter_m=1.87)
    )
    prepare(mission, 12, tmp_path / "other", wait_s=90.0, after_s=120.0)
    runners.run_in_process(tmp_path / "other")
    assert (tmp_path / "other" / CARD_NAME).read_bytes() != (base / "cpython" / CARD_NAME).read_bytes()
