from struct import calcsize
from zlib import crc32

import numpy as np
import pytest

from ground.layout import (
    BLOCK_DTYPE, BLOCK_HEADER_DTYPE, BLOCK_STRUCTURE, OWN_KINDS, PACKET_HEADER_DTYPE, KindLayout,
    FieldLayout, crc16, packed_dtype, wires_of,
)
from protocol.block import BLOCK_FIRST, BLOCK_HEADER, BLOCK_LIMIT, BLOCK_SIZE
from protocol.packet import PACKET_FIRST, PACKET_HEADER, crc16 as board_crc16
from protocol.table import KINDS


def test_the_check_sums_are_those_of_the_catalogue():
    # Catalogue of parametrised CRC algorithms (G. Cook): check values over "123456789" of
    # CRC-16/IBM-3740 and CRC-32/ISO-HDLC.
    assert crc16(b"123456789") == 0x29B1
    assert board_crc16(b"123456789", 0, 9) == 0x29B1
    assert crc32(b"123456789") == 0xCBF43926


def test_headers_end_where_records_begin():
    assert BLOCK_HEADER_DTYPE.itemsize == calcsize(BLOCK_HEADER) == BLOCK_FIRST
    assert PACKET_HEADER_DTYPE.itemsize == calcsize(PACKET_HEADER) == PACKET_FIRST


def test_a_block_is_a_sector_with_its_check_sum_at_the_end():
    assert BLOCK_DTYPE.itemsize == BLOCK_STRUCTURE.sizeof() == BLOCK_SIZE
    assert BLOCK_DTYPE.fields["crc"][1] == BLOCK_LIMIT


def test_every_kind_of_the_table_has_a_layout_of_the_same_fields():
    assert [(k.number, k.name, tuple(f"{f.name} {f.wire} {f.divisor} {f.unit}" for f in k.fields))
            for k in OWN_KINDS] == list(KINDS)


def test_missing_values_are_those_of_the_wire_type():
    fields = {f.name: f for kind in OWN_KINDS for f in kind.fields}
    assert fields["latitude"].missing == -(2**31)
    assert fields["hdop"].missing == 255
    assert fields["characters"].missing is None


def test_a_kind_without_fields_has_no_payload():
    assert KindLayout(200, "mark", ()).payload_size == 0


def test_a_format_that_is_not_of_wire_types_is_refused():
    with pytest.raises(ValueError, match="not made of wire types"):
        wires_of("<2H")
    with pytest.raises(ValueError, match="not made of wire types"):
        wires_of(">H")


def test_payload_arrays_have_no_padding():
    layout = KindLayout(9, "odd", (FieldLayout("a", "B", 1, "1"), FieldLayout("b", "I", 1, "1")))
    assert layout.dtype == np.dtype([("a", "u1"), ("b", "<u4")])
    assert packed_dtype(["a"], ["3s"]).itemsize == 3
