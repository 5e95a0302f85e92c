# The block: 512 bytes, a sector of the card, written once and never rewritten.

from binascii import crc32
from struct import pack_into

from protocol.record import Envelope
from protocol.table import FORMAT_VERSION

BLOCK_SIZE = 512
BLOCK_MAGIC = b"\x8cLB\xe7"
# magic, format version, flags, boot, flight, number, base tick, bytes of records, phase, reserved
BLOCK_HEADER = "<4sBBH4sIIHBB"
BLOCK_HEADER_FIELDS = (
    "magic", "version", "flags", "boot", "flight", "number", "tick", "used", "phase", "reserved",
)
BLOCK_FLIGHT = 8  # offset of the flight's four bytes
BLOCK_FIRST = 24  # where records begin
BLOCK_LIMIT = 508  # where they must have ended; the CRC-32 stands here
FLAG_PARITY = 0x01  # set aside: this block holds parity, not records


class BlockBuilder(Envelope):
    """Fills one block. Between open and close it allocates nothing; close allocates the CRC."""

    def __init__(self):
        Envelope.__init__(self, BLOCK_SIZE, BLOCK_FIRST, BLOCK_LIMIT)
        self._checked = memoryview(self.buffer)[:BLOCK_LIMIT]
        self.number = 0

    def open(self, tick):
        """Begin an empty block whose times are differences from this tick."""
        self.tick = tick
        self.used = 0
        self.is_open = True

    def close(self, flight, boot, number, phase):
        """Write header, padding and CRC-32; the buffer is then ready for the card.
        flight: 4 bytes; boot: 1..65535; number: of the block in its boot, from 0.
        """
        buffer = self.buffer
        self.number = number
        pack_into(
            BLOCK_HEADER, buffer, 0, BLOCK_MAGIC, FORMAT_VERSION, 0, boot, flight, number, self.tick,
            self.used, phase, 0,
        )
        for i in range(BLOCK_FIRST + self.used, BLOCK_LIMIT):
            buffer[i] = 0
        pack_into("<I", buffer, BLOCK_LIMIT, crc32(self._checked))
        self.is_open = False


def is_whole(block):
    """True if these 512 bytes are a block whose magic and CRC-32 are right."""
    if bytes(block[:4]) != BLOCK_MAGIC:
        return False
    stored = block[508] | block[509] << 8 | block[510] << 16 | block[511] << 24
    return crc32(memoryview(block)[:BLOCK_LIMIT]) == stored
