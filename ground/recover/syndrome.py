"""The CRC-32 of a block as a linear map: which damage to a block gives which syndrome.

The syndrome of 512 bytes is the CRC-32 of the first 508 exclusive or the one that stands in the last four.
It is 0 for a whole block. For a block with flipped bits it is the exclusive or of one word a bit, which
depends on the bit's position alone. So one CRC of a damaged block tells which bit, or which short burst,
would explain it. Method: syndrome decoding of a linear code; W. W. Peterson, D. T. Brown, "Cyclic Codes for
Error Detection", Proceedings of the IRE 49 (1961), 228-235.
"""

from functools import cache
from zlib import crc32

import numpy as np

from ground.layout import BLOCK_HEADER_DTYPE
from protocol.block import BLOCK_LIMIT, BLOCK_SIZE

BURST_MAX = 4  # bits from the first to the last that is wrong
_NUMBER_FIRST = BLOCK_HEADER_DTYPE.fields["number"][1]
_WORD_BITS = 32


def syndrome(block):
    """Syndrome of 512 bytes; 0 if they are a whole block (whatever their header)."""
    return crc32(block[:BLOCK_LIMIT]) ^ int.from_bytes(block[BLOCK_LIMIT:BLOCK_SIZE], "little")


@cache
def bit_syndromes():
    """uint32 (4096,): syndrome of a block in which one bit is wrong; bit b of byte i has index 8 * i + b."""
    words = np.zeros(8 * BLOCK_SIZE, np.uint32)
    block = bytearray(BLOCK_LIMIT)
    plain = crc32(block)
    for i in range(BLOCK_LIMIT):
        for b in range(8):
            block[i] = 1 << b
            words[8 * i + b] = crc32(block) ^ plain
        block[i] = 0
    words[8 * BLOCK_LIMIT:] = np.uint32(1) << np.arange(_WORD_BITS, dtype=np.uint32)
    return words


@cache
def patterns():
    """{syndrome: bits} of every single wrong bit and every burst of up to BURST_MAX bits; bits are indices as
    in `bit_syndromes`. Neighbours are taken in the order of the line to the card, on which the most
    significant bit of a byte goes first (SD Physical Layer Simplified Specification, SPI mode).
    All these syndromes differ from each other and from those of all other pairs of bits: a test counts.
    """
    order = np.arange(8 * BLOCK_SIZE).reshape(-1, 8)[:, ::-1].ravel()
    words = bit_syndromes()[order]
    found = {}
    for shape in range(1, 1 << BURST_MAX, 2):  # bit 0: the first wrong bit
        steps = [step for step in range(BURST_MAX) if shape >> step & 1]
        count = len(words) - steps[-1]
        totals = np.bitwise_xor.reduce([words[step:step + count] for step in steps])
        for first, total in enumerate(totals.tolist()):
            found[total] = tuple(int(order[first + step]) for step in steps)
    return found


@cache
def _number_solver():
    """For each bit of a syndrome, the number whose bits, turned over in the header, have that syndrome alone.
    Four bytes in a row take every syndrome exactly once, so there is one.
    """
    start = 8 * _NUMBER_FIRST
    rows = [[int(word), 1 << i] for i, word in enumerate(bit_syndromes()[start:start + _WORD_BITS])]
    for bit in range(_WORD_BITS):
        pivot = next(i for i in range(bit, _WORD_BITS) if rows[i][0] >> bit & 1)
        rows[bit], rows[pivot] = rows[pivot], rows[bit]
        for i in range(_WORD_BITS):
            if i != bit and rows[i][0] >> bit & 1:
                rows[i] = [rows[i][0] ^ rows[bit][0], rows[i][1] ^ rows[bit][1]]
    return [number for _, number in rows]


def number_of(block):
    """The one number (of the block in its boot) with which these 512 bytes would be whole. It proves nothing
    by itself; with N numbers that are possible, chance gives one of them with probability N / 2^32.
    """
    word = syndrome(block)
    number = int.from_bytes(block[_NUMBER_FIRST:_NUMBER_FIRST + 4], "little")
    for bit, part in enumerate(_number_solver()):
        if word >> bit & 1:
            number ^= part
    return number
