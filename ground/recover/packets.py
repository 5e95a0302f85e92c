"""Finding packets in a stream of bytes, however noisy: sync, length, walk, CRC-16."""

from dataclasses import dataclass
from struct import Struct

import numpy as np

from ground.layout import OWN_KINDS, PACKET_HEADER_DTYPE, crc16
from ground.recover.records import record_sizes
from ground.recover.search import positions
from protocol.packet import (
    PACKET_CHECKED_FROM, PACKET_FIRST, PACKET_HEADER, PACKET_HEADER_FIELDS, PACKET_OVERHEAD,
    PACKET_RECORDS_MAX, PACKET_SYNC,
)

_HEADER = Struct(PACKET_HEADER)
_LENGTH_AT = PACKET_HEADER_DTYPE.fields["length"][1]
PACKET_MAX = PACKET_RECORDS_MAX + PACKET_OVERHEAD


@dataclass(frozen=True)
class Packet:
    """One packet. offset: of its sync in the stream; length: of the whole packet, in bytes;
    tick: base tick as sent, modulo the tick period; records: its records' bytes.
    """

    offset: int
    length: int
    flight_byte: int
    boot_byte: int
    number: int
    tick: int
    records: bytes


def walks(records, sizes):
    """True if records of these sizes (256 entries by kind, 0 = unknown) fill the bytes exactly;
    False if they cannot, however the bytes go on; None if more bytes may yet fill them.
    records: the bytes at hand.
    """
    at = 0
    while at < len(records):
        size = sizes[records[at]]
        if not size:
            return False
        at += size
    return True if at == len(records) else None


class PacketFinder:
    """Finds packets in bytes that arrive piece by piece.

    tables: tables of kinds (KindLayout sequences); the records of a packet must fill it exactly by
    one of them. offset: where in the source the first byte stands.
    `skipped` counts the bytes so far that are in no packet, `found` the packets.
    """

    def __init__(self, tables=(OWN_KINDS,), offset=0):
        self._sizes = [record_sizes(kinds).tolist() for kinds in tables]
        self._buffer = b""
        self._offset = offset
        self.skipped = 0
        self.found = 0

    @property
    def is_waiting(self):
        """True if bytes are held back that may begin a packet."""
        return bool(self._buffer)

    @property
    def offset(self):
        """Where in the source the next byte fed stands."""
        return self._offset + len(self._buffer)

    def feed(self, data):
        """Take more bytes; return the list of packets that they complete."""
        self._buffer += data
        return self._search(final=False)

    def finish(self):
        """The stream ends (or is interrupted) here; return the packets found in what was held back."""
        return self._search(final=True)

    def skip(self, count):
        """Pass over bytes that are known to hold nothing; return packets held back before them."""
        packets = self.finish() if self._buffer else []
        self._offset += count
        self.skipped += count
        return packets

    def _search(self, final):
        buffer = self._buffer
        packets = []
        done = 0
        # The last byte may be the first of a sync.
        held = len(buffer) - (not final and buffer[-1:] == PACKET_SYNC[:1])
        for at in positions(np.frombuffer(buffer, np.uint8), PACKET_SYNC).tolist():
            if at < done:
                continue
            size = self._judge(buffer, at)
            if size is None and not final:
                held = at
                break
            # After a false sync the next one counts: it must not swallow a packet behind it.
            if size:
                packets.append(self._packet(buffer, at, size))
                self.skipped += at - done
                done = at + size
        held = max(held, done)
        self.skipped += held - done
        self._buffer = buffer[held:]
        self._offset += held
        self.found += len(packets)
        return packets

    def _judge(self, buffer, at):
        """Size of the packet at a sync; 0 if there is none; None if that needs more bytes."""
        if len(buffer) <= at + _LENGTH_AT:
            return None
        length = buffer[at + _LENGTH_AT]
        if not 1 <= length <= PACKET_RECORDS_MAX:
            return 0
        end = at + PACKET_FIRST + length
        records = buffer[at + PACKET_FIRST:end]
        verdicts = [walks(records, sizes) for sizes in self._sizes]
        if len(records) < length:
            # All verdicts False: no need to wait for the rest of what is no packet.
            return 0 if all(v is False for v in verdicts) else None
        if True not in verdicts:
            return 0
        if len(buffer) < end + 2:
            return None
        stored = int.from_bytes(buffer[end:end + 2], "little")
        return length + PACKET_OVERHEAD if crc16(buffer[at + PACKET_CHECKED_FROM:end]) == stored else 0

    def _packet(self, buffer, at, size):
        header = _HEADER.unpack_from(buffer, at)
        values = dict(zip(PACKET_HEADER_FIELDS, header, strict=True))
        records = bytes(buffer[at + PACKET_FIRST:at + size - 2])
        return Packet(
            self._offset + at, size, values["flight"], values["boot"], values["number"], values["tick"],
            records,
        )
