"""Repairing a block in which one bit, or one burst of up to four bits, is wrong.

The syndrome of the damaged block names the wrong bits (see ground.recover.syndrome). A block with more
damage than that has a syndrome that is as good as random. 4096 single bits, 4095 pairs of neighbours, 2 *
4094 bursts over three bits and 4 * 4093 over four make 32 751 patterns, so such a block passes for
repairable with probability 32751 / 2^32 = 7.6e-6, one in 131 000. Then a wrong repair must also give a
header that fits the neighbours (identity, place, number, boot, time), records of known kinds that fill the
used bytes exactly, times in order, and zeros behind; it turns over one to four bits, so where the damage
lies in values of records alone, these tests are passed by most of what gets there: 7.6e-6 a damaged block
is the bound. Of all 8 386 560 pairs of wrong bits none has the syndrome of another pattern (a test counts
them): two wrong bits are never repaired to something else.
"""

from itertools import islice

import numpy as np

from ground.layout import OWN_KINDS
from ground.recover.evidence import REPAIRED
from ground.recover.headers import crc_of, flight_of, is_parity
from ground.recover.one_block import are_orderly, headers_of
from ground.recover.records import record_sizes
from ground.recover.stock import Restored
from ground.recover.syndrome import patterns, syndrome
from protocol.block import BLOCK_FIRST, BLOCK_LIMIT, BLOCK_SIZE, FLAG_PARITY, is_parity_place

_BATCH = 1024  # blocks looked at together
_OWN_SIZES = record_sizes(OWN_KINDS)


def repair(stock, grid, blocks, tables):
    """Repair what can be repaired and is not known yet; repaired blocks with records are added to the stock.

    stock: Stock; grid: Grid; blocks: iterable of (offset, 512 bytes) of damaged blocks; tables: called
    without arguments, gives the tables of kinds that manifests of the source describe. Returns (repaired
    parity blocks: list of (offset, bytes), offsets of blocks for which more neighbours may be needed).
    """
    parity, waiting = [], []
    blocks = iter(blocks)
    while batch := list(islice(blocks, _BATCH)):
        mended = [item for item in map(_mended, batch) if item]
        if not mended:
            continue
        data = np.frombuffer(b"".join(block for _, block, _ in mended), np.uint8).reshape(-1, BLOCK_SIZE)
        headers = headers_of(data)
        own = are_orderly(data, headers["used"], _OWN_SIZES)
        for (offset, block, bits), header, is_own in zip(mended, headers, own.tolist(), strict=True):
            if not grid.fits(header, offset) or (header["flags"] and not header["flags"] & FLAG_PARITY):
                continue
            if is_parity(header):
                if is_parity_place(*(int(header[name]) for name in ("place", "depth", "rate"))):
                    parity.append((offset, block))
            elif _is_credible(stock, header) and (is_own or _is_orderly(block, header, tables)):
                how = {"bits_turned_over": [[bit // 8, bit % 8] for bit in bits]}
                stock.add(Restored(header, crc_of(block), offset, REPAIRED, how), block)
            else:
                waiting.append(offset)
    return parity, waiting


def _mended(item):
    """(offset, bytes, bits that were turned over) of a damaged block; None if no small damage explains it."""
    offset, block = item
    bits = patterns().get(syndrome(block))
    if bits is None:
        return None
    mended = bytearray(block)
    for bit in bits:
        mended[bit // 8] ^= 1 << bit % 8
    return offset, bytes(mended), bits


def _is_credible(stock, header):
    flight = flight_of(header)
    if stock.is_known(flight, int(header["place"])) or header["used"] > BLOCK_LIMIT - BLOCK_FIRST:
        return False
    return stock.neighbours(flight).agree_in_time(header)


def _is_orderly(block, header, tables):
    """True if a block is in order by one of these tables."""
    data = np.frombuffer(block, np.uint8).reshape(1, BLOCK_SIZE)
    return any(are_orderly(data, header["used"].reshape(1), record_sizes(kinds))[0] for kinds in tables())
