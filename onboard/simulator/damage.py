"""Damage a card image the way cards come back, seeded, and remember what was done."""

from dataclasses import dataclass, field

import numpy as np

from protocol.block import BLOCK_MAGIC, BLOCK_SIZE, is_whole

FLIPPED_BITS = 100
WIPED_SECTORS = 8
TORN_KEEPS = 200  # bytes of the last block that reached the card


@dataclass
class Damage:
    """What was done to a card: offsets in bytes, and the blocks that it hit."""

    flipped_bits: list = field(default_factory=list)  # (offset of the byte, bit)
    wiped: list = field(default_factory=list)  # offsets of sectors set to 0xFF
    torn: int = 0  # offset of the block whose end never reached the card
    zeroed: int = 0  # bytes at the start of the card that were zeroed: the file system's tables
    blocks_written: list = field(default_factory=list)  # offsets of all blocks before the damage
    blocks_hit: set = field(default_factory=set)  # offsets of those that are no longer whole


def block_offsets(image):
    """Offsets of the sectors that hold a whole block, in order."""
    return [
        at
        for at in range(0, len(image) - BLOCK_SIZE + 1, BLOCK_SIZE)
        if image[at : at + 4] == BLOCK_MAGIC and is_whole(image[at : at + BLOCK_SIZE])
    ]


def damage_card(image, seed):
    """Damage a card image (bytearray) in place.

    A hundred bits flip where the log is, eight sectors of it are wiped to 0xFF as a cell of flash that was erased
    and not written, the last write is torn, and everything before the log, the file system's tables, is zeroed.
    Returns the Damage. Raises ValueError if the image holds no log.
    """
    written = block_offsets(image)
    if len(written) <= WIPED_SECTORS:
        raise ValueError("the image holds no log that could be damaged")
    rng = np.random.default_rng([seed, 5])
    damage = Damage(blocks_written=written, torn=written[-1], zeroed=written[0])
    image[: written[0]] = bytes(written[0])
    torn = written[-1]
    image[torn + TORN_KEEPS : torn + BLOCK_SIZE] = bytes(BLOCK_SIZE - TORN_KEEPS)
    for index in sorted(rng.choice(len(written) - 1, WIPED_SECTORS, replace=False).tolist()):
        image[written[index] : written[index] + BLOCK_SIZE] = b"\xff" * BLOCK_SIZE
        damage.wiped.append(written[index])
    span = (written[-1] - written[0]) * 8
    for place in sorted(rng.choice(span, FLIPPED_BITS, replace=False).tolist()):
        offset, bit = written[0] + place // 8, place % 8
        image[offset] ^= 1 << bit
        damage.flipped_bits.append((offset, bit))
    damage.blocks_hit = {at for at in written if not is_whole(image[at : at + BLOCK_SIZE])}
    return damage
