# The block: 512 bytes, a sector of the card, written once and never rewritten.

from binascii import crc32
from struct import pack_into

from protocol.constant import const
from protocol.record import Envelope
from protocol.table import FORMAT_VERSION

BLOCK_SIZE = 512
BLOCK_MAGIC = b"\x8cLB\xe7"
# magic, format version, flags, parity depth, parity rate, flight, place,
# number, boot, base tick, bytes of records, phase
BLOCK_HEADER = "<4sBBBB4sIIHIHB"
BLOCK_HEADER_FIELDS = (
    "magic", "version", "flags", "depth", "rate", "flight", "place", "number", "boot", "tick", "used", "phase",
)
BLOCK_FLIGHT = 8  # offset of the flight's four bytes
BLOCK_FIRST = 29  # where records begin
BLOCK_LIMIT = 508  # where they must have ended; the CRC-32 stands here
FLAG_PARITY = 0x01  # this block holds parity, not records; bits 1 to 7 then count the members that it took in

# A parity block has the header up to `place`; then comes the exclusive or of what its members hold from the
# boot on, their CRC-32 included, then its own CRC-32. The number is left out to make room for that.
PARITY_HEADER = "<4sBBBB4sI"
PARITY_FIRST = 16  # where the exclusive or stands in the parity block, up to BLOCK_LIMIT
MEMBER_FIRST = 20  # where the bytes stand in a member, up to its end


def is_parity_place(place, depth, rate):
    """True if the sector at this place of the log holds parity: stripes are depth * rate data sectors, then
    depth parity sectors. depth 0: there is no parity.
    """
    return depth > 0 and place % (depth * (rate + 1)) >= depth * rate


def parity_member(place, depth, rate, k):
    """The place of member k, 0 .. rate - 1, of the parity sector at `place`."""
    start = place - place % (depth * (rate + 1))
    return start + place % depth + depth * k


# What the CRC-32 over a whole block comes to if the one in it is right. The catalogue of CRC algorithms gives this
# residue of CRC-32/ISO-HDLC before the last exclusive or, as 0xdebb20e3. It is a small integer also on a 32-bit board,
# so that looking at a block allocates nothing.
_CRC_RESIDUE = const(0x2144DF1C)


class BlockBuilder(Envelope):
    """Fills one block. Between open and close it allocates nothing; close allocates the CRC."""

    def __init__(self):
        Envelope.__init__(self, BLOCK_SIZE, BLOCK_FIRST, BLOCK_LIMIT)
        self._checked = memoryview(self.buffer)[:BLOCK_LIMIT]

    def open(self, tick):
        """Begin an empty block whose times are differences from this tick."""
        self.tick = tick
        self.used = 0
        self.is_open = True

    def close(self, flight, boot, number, phase, place=None, depth=0, rate=0):
        """Write header, padding and CRC-32; the buffer is then ready for the card. May be repeated.

        flight: 4 bytes; boot: 1..65535; number: of the block in its boot, from 0; place: of its sector in the
        log, the number if not given; depth, rate: of the parity, 0 if there is none.
        """
        buffer = self.buffer
        if place is None:
            place = number
        pack_into(
            BLOCK_HEADER, buffer, 0, BLOCK_MAGIC, FORMAT_VERSION, 0, depth, rate, flight, place, number, boot,
            self.tick, self.used, phase,
        )
        for i in range(BLOCK_FIRST + self.used, BLOCK_LIMIT):
            buffer[i] = 0
        pack_into("<I", buffer, BLOCK_LIMIT, crc32(self._checked))
        self.is_open = False


def close_parity(buffer, checked, flight, place, depth, rate, taken):
    """Write header and CRC-32 of a parity block whose exclusive or stands in the buffer already.

    checked: a memoryview of the buffer up to BLOCK_LIMIT, made once; taken: how many members are in it.
    """
    pack_into(
        PARITY_HEADER, buffer, 0, BLOCK_MAGIC, FORMAT_VERSION, FLAG_PARITY | taken << 1, depth, rate, flight, place
    )
    pack_into("<I", buffer, BLOCK_LIMIT, crc32(checked))


def is_whole(block):
    """True if these 512 bytes are a block whose magic and CRC-32 are right."""
    for i in range(4):
        if block[i] != BLOCK_MAGIC[i]:
            return False
    return crc32(block) == _CRC_RESIDUE
