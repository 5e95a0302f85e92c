"""What a perfect recovery of a damaged card would give: judged by the card before and after the damage alone."""

from collections import Counter
from struct import unpack_from

from protocol.block import BLOCK_FIRST, BLOCK_HEADER, BLOCK_HEADER_FIELDS, BLOCK_SIZE, FLAG_PARITY
from protocol.record import RECORD_HEADER, Layout
from protocol.table import KINDS
from protocol.tick import tick_add

_FLAGS = BLOCK_HEADER_FIELDS.index("flags")
_TICK = BLOCK_HEADER_FIELDS.index("tick")
_USED = BLOCK_HEADER_FIELDS.index("used")


def records_of(block, sizes):
    """The (kind name, tick) of each record of a whole block, none of a parity block.

    sizes: kind number -> (name, bytes).
    """
    header = unpack_from(BLOCK_HEADER, block, 0)
    if header[_FLAGS] & FLAG_PARITY:
        return
    at = BLOCK_FIRST
    while at < BLOCK_FIRST + header[_USED]:
        number, difference = unpack_from("<" + RECORD_HEADER, block, at)
        name, size = sizes[number]
        yield name, tick_add(header[_TICK], difference)
        at += size


def expected_records(image, offsets):
    """Count the (kind name, tick) of all records in the blocks at these offsets.

    image: the card before the damage. Returns a Counter.
    """
    sizes = {number: (name, Layout(name).size) for number, name, _ in KINDS}
    found = Counter()
    for at in offsets:
        found.update(records_of(image[at : at + BLOCK_SIZE], sizes))
    return found


def parity_blocks(image, offsets):
    """How many of the whole blocks at these offsets hold parity."""
    return sum(
        unpack_from(BLOCK_HEADER, image, at)[_FLAGS] & FLAG_PARITY for at in offsets
    )
