# The packet: one or more records on a link (radio, USB), found by its sync, proven by a CRC-16.

from struct import pack_into

from protocol.record import Envelope

PACKET_SYNC = b"\x9eL"
# sync, bytes of records, first byte of the flight, low byte of the boot, running number, base tick
PACKET_HEADER = "<2sBBBHI"
PACKET_HEADER_FIELDS = ("sync", "length", "flight", "boot", "number", "tick")
PACKET_FIRST = 11  # where records begin
PACKET_RECORDS_MAX = 200  # bytes of records in a packet, at most
PACKET_CHECKED_FROM = 2  # the CRC covers everything after the sync, up to itself
PACKET_OVERHEAD = PACKET_FIRST + 2

# CRC-16/IBM-3740, four bits at a time: 16 entries instead of 256 spare a board 480 bytes.
CRC16_POLYNOMIAL = 0x1021
CRC16_START = 0xFFFF


def _nibble_table():
    table = []
    for value in range(16):
        register = value << 12
        for _ in range(4):
            register = register << 1 ^ CRC16_POLYNOMIAL if register & 0x8000 else register << 1
            register &= 0xFFFF
        table.append(register)
    return tuple(table)


_NIBBLES = _nibble_table()


def crc16(buffer, start, stop):
    """CRC-16/IBM-3740 of buffer[start:stop]."""
    nibbles = _NIBBLES
    register = CRC16_START
    for i in range(start, stop):
        byte = buffer[i]
        register = (register << 4 & 0xFFFF) ^ nibbles[register >> 12 ^ byte >> 4]
        register = (register << 4 & 0xFFFF) ^ nibbles[register >> 12 ^ byte & 15]
    return register


class PacketBuilder(Envelope):
    """Fills one packet; the whole packet is buffer[:size] after close, which returns size."""

    def __init__(self):
        Envelope.__init__(
            self, PACKET_RECORDS_MAX + PACKET_OVERHEAD, PACKET_FIRST, PACKET_FIRST + PACKET_RECORDS_MAX
        )

    def open(self, tick):
        """Begin an empty packet whose times are differences from this tick."""
        self.tick = tick
        self.used = 0
        self.is_open = True

    def close(self, flight, boot, number):
        """Write header and CRC-16. flight: 4 bytes; boot: 1..65535; number: running, modulo 65536."""
        buffer = self.buffer
        end = PACKET_FIRST + self.used
        pack_into(
            PACKET_HEADER, buffer, 0, PACKET_SYNC, self.used, flight[0], boot & 0xFF, number & 0xFFFF, self.tick
        )
        pack_into("<H", buffer, end, crc16(buffer, PACKET_CHECKED_FROM, end))
        self.is_open = False
        return end + 2
