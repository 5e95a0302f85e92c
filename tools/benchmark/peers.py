"""The same numbers in formats that are in common use: CSV, JSON lines, MessagePack, CBOR, Protocol Buffers.

A record is a tuple (kind number, tick in ms, stored integers...). Each format is what a program would write
that appends a record at a time: one line, one array, or one message with its length before it.
"""

import io
from dataclasses import dataclass
from typing import Callable

import cbor2
import msgpack
import orjson
from google.protobuf import descriptor_pb2, descriptor_pool, message_factory

from benchmark.flight import NUMBERS

_NAMES = {kind.number: ["tick_ms", *(field.name for field in kind.fields)] for kind in NUMBERS}
_LENGTHS = {number: len(names) + 1 for number, names in _NAMES.items()}
_KIND_NAMES = {kind.number: kind.name for kind in NUMBERS}
_KIND_NUMBERS = {kind.name: kind.number for kind in NUMBERS}
_RECORD_MAX = 256  # bytes of one record in any of the formats


@dataclass(frozen=True)
class Peer:
    """encode: rows to bytes; read: bytes to an iterator of rows, which raises at the first fault, as the
    usual readers do; salvage: the same, but goes on behind a fault as well as the format allows.
    """

    name: str
    encode: Callable
    read: Callable
    salvage: Callable


def is_record(row):
    """True if this has the shape of a record: a known kind, and as many whole numbers as it has fields."""
    return (
        isinstance(row, (list, tuple)) and len(row) > 1 and all(type(item) is int for item in row)
        and _LENGTHS.get(row[0]) == len(row)
    )


# --- text ---


def csv_lines(rows):
    """One file, the kind's number at the beginning of the line."""
    return "".join(",".join(map(str, row)) + "\n" for row in rows).encode()


def named_csv_lines(rows):
    """The same with the kind's name."""
    return csv_lines((_KIND_NAMES[row[0]], *row[1:]) for row in rows)


def csv_tables(contents):
    """A file a kind with a header line: kind number to bytes."""
    tables = {}
    for row in contents.rows():
        tables.setdefault(row[0], []).append(row[1:])
    return {
        number: (",".join(_NAMES[number]) + "\n").encode() + csv_lines(rows)
        for number, rows in tables.items()
    }


def _csv_row(line):
    return tuple(map(int, line.split(b",")))


def json_lines(rows):
    """An object a line, with the names of kind and fields."""
    return b"".join(
        orjson.dumps({"kind": _KIND_NAMES[row[0]], **dict(zip(_NAMES[row[0]], row[1:], strict=True))}) + b"\n"
        for row in rows
    )


def _json_row(line):
    item = orjson.loads(line)
    return (_KIND_NUMBERS[item.pop("kind")], *item.values())


def _line_reader(row_of):
    def read(data):
        for line in data.splitlines():
            yield row_of(line)

    def salvage(data):
        for line in data.splitlines():
            try:
                row = row_of(line)
            except (ValueError, KeyError, AttributeError, TypeError):
                continue
            if is_record(row):
                yield row

    return read, salvage


# --- arrays ---


def _read_msgpack(data):
    yield from map(tuple, msgpack.Unpacker(io.BytesIO(data)))


def _one_msgpack(piece):
    unpacker = msgpack.Unpacker()
    unpacker.feed(piece)
    return unpacker.unpack(), unpacker.tell()


def _read_cbor(data):
    file = io.BytesIO(data)
    decoder = cbor2.CBORDecoder(file)
    while file.tell() < len(data):
        yield tuple(decoder.decode())


def _one_cbor(piece):
    file = io.BytesIO(piece)
    return cbor2.CBORDecoder(file).decode(), file.tell()


# --- messages ---


def _schema():
    file = descriptor_pb2.FileDescriptorProto(name="flight.proto", package="flight", syntax="proto3")
    record = file.message_type.add(name="Record")
    record.oneof_decl.add(name="kind")
    types = descriptor_pb2.FieldDescriptorProto
    for kind in NUMBERS:
        message = file.message_type.add(name=kind.name.capitalize())
        message.field.add(name="tick_ms", number=1, type=types.TYPE_UINT32, label=types.LABEL_OPTIONAL)
        for number, field in enumerate(kind.fields, 2):
            wire = types.TYPE_SINT32 if field.wire.islower() else types.TYPE_UINT32
            message.field.add(name=field.name, number=number, type=wire, label=types.LABEL_OPTIONAL)
        record.field.add(
            name=kind.name, number=kind.number, type=types.TYPE_MESSAGE, label=types.LABEL_OPTIONAL,
            type_name=f".flight.{message.name}", oneof_index=0,
        )
    pool = descriptor_pool.DescriptorPool()
    pool.Add(file)
    return message_factory.GetMessageClass(pool.FindMessageTypeByName("flight.Record"))


_Record = _schema()


def _protobuf(rows):
    parts = []
    for number, *values in rows:
        message = _Record()
        inner = getattr(message, _KIND_NAMES[number])
        inner.SetInParent()
        for name, value in zip(_NAMES[number], values, strict=True):
            setattr(inner, name, value)
        body = message.SerializeToString()
        parts += [bytes([len(body)]), body]  # all are shorter than 128 bytes, so one byte tells the length
    return b"".join(parts)


def _message_row(body):
    message = _Record.FromString(body)
    name = message.WhichOneof("kind")
    if name is None:
        raise ValueError("no record")
    inner = getattr(message, name)
    number = _KIND_NUMBERS[name]
    return number, *[getattr(inner, field) for field in _NAMES[number]]


def _read_protobuf(data):
    at = 0
    while at < len(data):
        end = at + 1 + data[at]
        if end > len(data):
            raise ValueError("cut off")
        yield _message_row(data[at + 1:end])
        at = end


def _one_protobuf(piece):
    end = 1 + piece[0]
    row = _message_row(piece[1:end])
    # The reader passes over what it does not know. What would be written differently was not written so.
    if _protobuf([row]) != piece[:end]:
        raise ValueError("not a whole record")
    return row, end


def _piece_salvage(one):
    """Try to read a record at every byte that no record before it holds: there is no mark to look for."""
    def salvage(data):
        at = 0
        while at < len(data):
            try:
                row, size = one(data[at:at + _RECORD_MAX])
            except Exception:  # each library has its own exceptions for bytes that it cannot read
                at += 1
                continue
            if is_record(row):
                yield tuple(row)
                at += size
            else:
                at += 1

    return salvage


def _packed(pack):
    return lambda rows: b"".join(map(pack, rows))


PEERS = (
    Peer("CSV", csv_lines, *_line_reader(_csv_row)),
    Peer("JSON lines", json_lines, *_line_reader(_json_row)),
    Peer("MessagePack", _packed(msgpack.packb), _read_msgpack, _piece_salvage(_one_msgpack)),
    Peer("CBOR", _packed(cbor2.dumps), _read_cbor, _piece_salvage(_one_cbor)),
    Peer("Protocol Buffers", _protobuf, _read_protobuf, _piece_salvage(_one_protobuf)),
)
