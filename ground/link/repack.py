"""Put the records of a boot back into packets, bit for bit."""

from dataclasses import dataclass
from struct import pack_into

import numpy as np

from protocol.packet import PACKET_RECORDS_MAX, PacketBuilder
from protocol.record import RECORD_HEADER, RECORD_OVERHEAD
from protocol.table import KINDS
from protocol.tick import TICK_MASK

MANIFEST_NUMBER = next(number for number, name, _ in KINDS if name == "manifest")
PACKET_SPAN_MS = 500  # a record later than this after the packet's base tick begins a new packet


@dataclass(frozen=True)
class SentPacket:
    """A finished packet."""

    data: bytes
    first_tick_ms: int  # of its records, ms since boot, not modulo
    last_tick_ms: int
    records: int


class _StoredRecord:
    """A record whose payload is there as bytes; stands where the builder expects a Layout."""

    format = "<" + RECORD_HEADER

    def __init__(self, number, payload):
        self.size = RECORD_OVERHEAD + len(payload)
        self.number = number
        self.values = payload

    @staticmethod
    def packer(record, buffer, at, difference):
        pack_into(record.format, buffer, at, record.number, difference)
        buffer[at + RECORD_OVERHEAD : at + record.size] = record.values


def packets_of(boot):
    """Yield the packets of one boot, in time order, numbered from 0.

    boot: a BootLog. Its records go out with the stored values as they are, whether or not this
    program knows their kind. Records too long for a packet are left out, see `too_long`.
    Yields SentPacket.
    """
    flight = _flight_bytes(boot.flight)
    builder = PacketBuilder()
    number = 0
    ticks = []
    is_manifest = False
    for tick_ms, record in _in_time_order(boot):
        # A receiver refuses a packet with a kind that it does not know; a manifest must not share that fate.
        mixed = is_manifest != (record.number == MANIFEST_NUMBER)
        late = bool(ticks) and tick_ms - ticks[0] > PACKET_SPAN_MS
        if ticks and (mixed or late or not builder.fits(record, tick_ms & TICK_MASK)):
            yield _close(builder, flight, boot.boot, number, ticks)
            number += 1
            ticks = []
        if not ticks:
            builder.open(tick_ms & TICK_MASK)
            is_manifest = record.number == MANIFEST_NUMBER
        builder.add(record, tick_ms & TICK_MASK)
        ticks.append(tick_ms)
    if ticks:
        yield _close(builder, flight, boot.boot, number, ticks)


def too_long(boot):
    """Count the records of a boot that no packet can carry."""
    return sum(len(kind.tick_ms) for kind in boot.records.values() if not _sendable(kind))


def _close(builder, flight, boot, number, ticks):
    size = builder.close(flight, boot, number)
    return SentPacket(bytes(builder.buffer[:size]), ticks[0], ticks[-1], len(ticks))


def _flight_bytes(flight):
    # A packet carries the first byte of the flight only, which is all that a capture without a
    # manifest knows ("unknown-1a").
    return bytes.fromhex(flight.removeprefix("unknown-")).ljust(4, b"\0")


def _sendable(kind):
    return RECORD_OVERHEAD + kind.values.dtype.itemsize <= PACKET_RECORDS_MAX


def _in_time_order(boot):
    """Yield (tick_ms, record) of all kinds that fit, sorted by tick, each kind's order kept."""
    kinds = [kind for kind in boot.records.values() if _sendable(kind) and len(kind.tick_ms)]
    if not kinds:
        return
    stored = [kind.values.tobytes() for kind in kinds]
    sizes = [kind.values.dtype.itemsize for kind in kinds]
    ticks = np.concatenate([kind.tick_ms for kind in kinds])
    which = np.concatenate([np.full(len(kind.tick_ms), i) for i, kind in enumerate(kinds)])
    index = np.concatenate([np.arange(len(kind.tick_ms)) for kind in kinds])
    for position in np.argsort(ticks, kind="stable"):
        i = which[position]
        start = int(index[position]) * sizes[i]
        yield int(ticks[position]), _StoredRecord(kinds[i].layout.number, stored[i][start : start + sizes[i]])
