"""The board's struct packing, the ground's construct structures and its numpy dtypes are three
readings of one table: they must agree on every byte of every kind.
"""

import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ground.layout import (
    BLOCK_DTYPE, BLOCK_HEADER_DTYPE, BLOCK_STRUCTURE, OWN_KINDS, PACKET_HEADER_DTYPE, PACKET_STRUCTURE,
    RECORD_HEADER_DTYPE, wires_of,
)
from protocol.block import BLOCK_FIRST, BLOCK_HEADER, BLOCK_HEADER_FIELDS, BLOCK_LIMIT
from protocol.packet import PACKET_HEADER, PACKET_HEADER_FIELDS
from protocol.record import RECORD_OVERHEAD, Layout
from protocol.wire import missing_value, wire_size


def values_of(wire):
    """Strategy of all stored values of a wire type, its missing value among the likely ones."""
    size = wire_size(wire)
    if wire.endswith("s"):
        return st.binary(min_size=size, max_size=size)
    low = -(1 << (8 * size - 1)) if wire.islower() else 0
    return st.integers(low, low + (1 << 8 * size) - 1) | st.just(missing_value(wire))


def as_stored(values):
    """Values as numpy shows them: text without its padding."""
    return tuple(v.rstrip(b"\0") if isinstance(v, bytes) else v for v in values)


@pytest.mark.parametrize("kind", OWN_KINDS, ids=lambda kind: kind.name)
@given(data=st.data())
def test_every_kind_has_the_same_bytes_in_all_three(kind, data):
    values = data.draw(st.tuples(*(values_of(field.wire) for field in kind.fields)))
    difference = data.draw(st.integers(-32768, 32767))
    board = Layout(kind.name)
    board.values[:] = values
    packed = bytearray(board.size)
    board.pack(packed, 0, difference)

    names = [field.name for field in kind.fields]
    fields = {"kind": kind.number, "difference": difference, **dict(zip(names, values, strict=True))}
    assert kind.structure.build(fields) == packed
    parsed = kind.structure.parse(packed)
    assert {name: parsed[name] for name in fields} == fields

    assert board.size == RECORD_OVERHEAD + kind.payload_size == kind.structure.sizeof()
    header = np.frombuffer(packed[:RECORD_OVERHEAD], RECORD_HEADER_DTYPE)[0]
    assert header.tolist() == (kind.number, difference)
    array = np.frombuffer(packed[RECORD_OVERHEAD:], kind.dtype)
    assert array[0].tolist() == as_stored(values)
    assert array.tobytes() == packed[RECORD_OVERHEAD:]
    assert np.array([values], kind.dtype).tobytes() == packed[RECORD_OVERHEAD:]


@pytest.mark.parametrize("kind", OWN_KINDS, ids=lambda kind: kind.name)
def test_every_field_stands_at_the_same_place_in_all_three(kind):
    board = Layout(kind.name)
    for i, field in enumerate(kind.fields):
        board.clear()
        before = bytearray(board.size)
        board.pack(before, 0, 0)
        board.values[i] = b"\x55" * wire_size(field.wire) if field.missing is None else 0x55
        after = bytearray(board.size)
        board.pack(after, 0, 0)
        changed = [at for at in range(board.size) if before[at] != after[at]]
        start = RECORD_OVERHEAD + kind.dtype.fields[field.name][1]
        assert changed and start <= changed[0] and changed[-1] < start + wire_size(field.wire)


@given(st.tuples(*map(values_of, wires_of(BLOCK_HEADER))))
def test_the_block_header_has_the_same_bytes_in_all_three(values):
    packed = struct.pack(BLOCK_HEADER, *values)
    assert np.frombuffer(packed, BLOCK_HEADER_DTYPE)[0].tolist() == as_stored(values)
    fields = dict(zip(BLOCK_HEADER_FIELDS, values, strict=True))
    block = BLOCK_STRUCTURE.build({**fields, "records": bytes(BLOCK_LIMIT - BLOCK_FIRST), "crc": 0x01020304})
    assert block == packed + bytes(BLOCK_LIMIT - BLOCK_FIRST) + b"\x04\x03\x02\x01"
    array = np.frombuffer(block, BLOCK_DTYPE)[0]
    assert array.tolist() == (*as_stored(values), b"", 0x01020304)


@given(st.tuples(*map(values_of, ["2s", "B", "B", "B", "H", "I"])), st.integers(0, 65535))
def test_the_packet_header_has_the_same_bytes_in_all_three(values, crc):
    packed = struct.pack(PACKET_HEADER, *values)
    assert np.frombuffer(packed, PACKET_HEADER_DTYPE)[0].tolist() == as_stored(values)
    fields = dict(zip(PACKET_HEADER_FIELDS, values, strict=True))
    records = bytes(range(fields["length"]))
    packet = PACKET_STRUCTURE.build({**fields, "records": records, "crc": crc})
    assert packet == packed + records + struct.pack("<H", crc)
    assert PACKET_STRUCTURE.parse(packet).crc == crc
