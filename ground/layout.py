"""Structures and arrays of the record format, derived from its table and header formats.

Nothing about a field is written here a second time: names, wire types, sizes and numbers come from
`protocol.table` (or from a log's own manifest), header layouts from the struct formats beside them.
"""

import re
from dataclasses import dataclass
from functools import cached_property

import construct
import crcmod.predefined
import numpy as np

from protocol.block import BLOCK_FIRST, BLOCK_HEADER, BLOCK_HEADER_FIELDS, BLOCK_LIMIT
from protocol.packet import PACKET_HEADER, PACKET_HEADER_FIELDS
from protocol.record import RECORD_HEADER
from protocol.table import KINDS, split_field
from protocol.wire import missing_value, wire_size

RECORD_HEADER_FIELDS = ("kind", "difference")

# CRC-16/IBM-3740 by its older name in crcmod's list; the check value is held by a test.
crc16 = crcmod.predefined.mkPredefinedCrcFun("crc-ccitt-false")

_STRUCTURES = {
    "b": construct.Int8sl, "B": construct.Int8ul,
    "h": construct.Int16sl, "H": construct.Int16ul,
    "i": construct.Int32sl, "I": construct.Int32ul,
}


@dataclass(frozen=True)
class FieldLayout:
    """One field: value = stored integer / divisor, in the unit; `wire` is its struct code."""

    name: str
    wire: str
    divisor: int
    unit: str

    @property
    def missing(self):
        """The stored value that means "no reading"; None for text."""
        return missing_value(self.wire)


@dataclass(frozen=True)
class KindLayout:
    """One kind of record, from this program's table or from a log's manifest."""

    number: int
    name: str
    fields: tuple[FieldLayout, ...]

    @property
    def payload_size(self):
        """Bytes of the payload, without the record's header."""
        return self.dtype.itemsize

    @cached_property
    def dtype(self):
        """Structured dtype of the payload: little-endian, packed, text as 'S'."""
        return packed_dtype([f.name for f in self.fields], [f.wire for f in self.fields])

    @cached_property
    def structure(self):
        """`construct` structure of a whole record: header, then the fields."""
        names = [*RECORD_HEADER_FIELDS, *(f.name for f in self.fields)]
        return packed_structure(names, [*wires_of(RECORD_HEADER), *(f.wire for f in self.fields)])


def wires_of(struct_format):
    """The wire types of a struct format such as '<4sBH', in order. Raises ValueError if the
    format is not little-endian or holds anything but the wire types of `protocol.wire`.
    """
    wires = re.findall(r"\d+s|[bBhHiI]", struct_format)
    if "".join(wires) != struct_format.removeprefix("<"):
        raise ValueError(f"struct format {struct_format!r} is not made of wire types")
    return wires


def packed_dtype(names, wires):
    """numpy structured dtype without padding. Raises ValueError on repeated names."""
    formats = [f"S{wire_size(w)}" if w.endswith("s") else "<" + w for w in wires]
    return np.dtype(list(zip(names, formats, strict=True)))


def packed_structure(names, wires):
    """`construct.Struct` of the same bytes as `packed_dtype`."""
    parts = [_STRUCTURES.get(w) or construct.Bytes(wire_size(w)) for w in wires]
    return construct.Struct(*(name / part for name, part in zip(names, parts, strict=True)))


def layout_of(kind):
    """KindLayout of one entry of a table like `protocol.table.KINDS`."""
    number, name, fields = kind
    return KindLayout(number, name, tuple(FieldLayout(*split_field(field)) for field in fields))


OWN_KINDS = tuple(layout_of(kind) for kind in KINDS)

RECORD_HEADER_DTYPE = packed_dtype(RECORD_HEADER_FIELDS, wires_of(RECORD_HEADER))
BLOCK_HEADER_DTYPE = packed_dtype(BLOCK_HEADER_FIELDS, wires_of(BLOCK_HEADER))
PACKET_HEADER_DTYPE = packed_dtype(PACKET_HEADER_FIELDS, wires_of(PACKET_HEADER))

_RECORDS_WIRE = f"{BLOCK_LIMIT - BLOCK_FIRST}s"
BLOCK_NAMES = (*BLOCK_HEADER_FIELDS, "records", "crc")
BLOCK_WIRES = (*wires_of(BLOCK_HEADER), _RECORDS_WIRE, "I")
BLOCK_DTYPE = packed_dtype(BLOCK_NAMES, BLOCK_WIRES)
BLOCK_STRUCTURE = packed_structure(BLOCK_NAMES, BLOCK_WIRES)

PACKET_STRUCTURE = construct.Struct(
    *packed_structure(PACKET_HEADER_FIELDS, wires_of(PACKET_HEADER)).subcons,
    "records" / construct.Bytes(construct.this.length),
    "crc" / construct.Int16ul,
)
