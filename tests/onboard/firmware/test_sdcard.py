"""The SD card driver on the virtual card, on all three interpreters; and the virtual card against published
values.
"""

import everywhere
import pytest
from sdcard_checks import CHECKS

from onboard.firmware import sdcard
from onboard.simulator.board.sd_registers import card_specific_data, crc7, crc16

MODULES = ("sdcard_checks",)


@pytest.fixture(scope="module")
def staged(tmp_path_factory):
    return everywhere.stage(tmp_path_factory.mktemp("staged"), MODULES)


@pytest.mark.parametrize("name", CHECKS)
def test_on_cpython(name):
    CHECKS[name]()


def test_all_on_the_unix_port(staged):
    assert everywhere.on_unix(staged, MODULES) == dict.fromkeys(CHECKS, "ok")


def test_all_in_webassembly(staged):
    assert everywhere.on_wasm(staged, MODULES) == dict.fromkeys(CHECKS, "ok")


def test_the_check_sums_are_those_of_the_specification():
    """Physical Layer Simplified Specification, 4.5: CRC-7 of CMD0, of CMD17 and of its response; CRC-16 of
    512 bytes of 0xFF (from memory). The frames of CMD0 and CMD8 with 0x95 and 0x87: common practice, no
    source.
    """
    assert crc7(b"\x40\x00\x00\x00\x00", 5) >> 1 == 0b1001010
    assert crc7(b"\x51\x00\x00\x00\x00", 5) >> 1 == 0b0101010
    assert crc7(b"\x11\x00\x00\x09\x00", 5) >> 1 == 0b0110011
    assert crc7(b"\x40\x00\x00\x00\x00", 5) == 0x95
    assert crc7(b"\x48\x00\x00\x01\xaa", 5) == 0x87
    assert crc16(b"\xff" * 512) == 0x7FA1
    assert crc16(b"123456789") == 0x31C3  # CRC catalogue, CRC-16/XMODEM


# Registers of real cards with the capacity printed on them. Source: G. Lui, "Project: Read, Collect & Decode
# SD Card CSD Register Data", goughlui.com, 2014-01-03.
REAL_CARDS = [
    ("400e00325b590000ee9d7f800a400013", 32e9),
    ("400e00325b590000e9e57f800a4040f1", 32e9),
    ("400e00325b590003a5df7f800a400007", 128e9),
    ("002d00325b5a83d5fefbff80168000cf", 2e9),
    ("002600325f5a83c93efbcfff928040cb", 2e9),
]


@pytest.mark.parametrize("register, printed_bytes", REAL_CARDS)
def test_the_size_of_real_cards_is_the_printed_one(register, printed_bytes):
    csd = bytes.fromhex(register)
    assert crc7(csd, 15) == csd[15]
    assert sdcard._blocks(csd) * 512 == pytest.approx(printed_bytes, rel=0.04)


@pytest.mark.parametrize("is_large", [True, False])
def test_the_virtual_card_states_its_own_size(is_large):
    csd = card_specific_data(65536, is_large)
    assert crc7(csd, 15) == csd[15]
    assert sdcard._blocks(csd) == 65536
