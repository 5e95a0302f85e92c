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

from ground.layout import OWN_KINDS
from ground.recover.evidence import REPAIRED
from ground.recover.grid import Grid
from ground.recover.headers import crc_of, flight_of, header_of, is_parity
from ground.recover.one_block import is_orderly
from ground.recover.records import record_sizes
from ground.recover.stock import Restored
from ground.recover.syndrome import patterns, syndrome
from protocol.block import BLOCK_FIRST, BLOCK_LIMIT, FLAG_PARITY, is_parity_place


def repair(stock, grid, blocks, tables):
    """Repair what can be repaired and is not known yet; repaired blocks with records are added to the stock.

    stock: Stock; grid: Grid; blocks: iterable of (offset, 512 bytes) of damaged blocks; tables: called
    without arguments, gives the tables of kinds that manifests of the source describe. Returns list of
    (offset, bytes): repaired parity blocks.
    """
    parity = []
    for offset, block in blocks:
        bits = patterns().get(syndrome(block))
        if bits is None:
            continue
        mended = bytearray(block)
        for bit in bits:
            mended[bit // 8] ^= 1 << bit % 8
        header = header_of(bytes(mended))
        if not grid.fits(header, offset) or (header["flags"] and not header["flags"] & FLAG_PARITY):
            continue
        if is_parity(header):
            if is_parity_place(*(int(header[name]) for name in ("place", "depth", "rate"))):
                parity.append((offset, bytes(mended)))
        elif _is_credible(stock, header, mended, tables):
            how = {"bits_turned_over": [[bit // 8, bit % 8] for bit in bits]}
            stock.add(Restored(header, crc_of(mended), offset, REPAIRED, how), bytes(mended))
    return parity


def _is_credible(stock, header, block, tables):
    flight, used = flight_of(header), int(header["used"])
    if stock.is_known(flight, int(header["place"])) or used > BLOCK_LIMIT - BLOCK_FIRST:
        return False
    neighbours = stock.neighbours(flight)
    if not (neighbours.agree(header) and neighbours.is_in_time(header)):
        return False
    if is_orderly(block, used, record_sizes(OWN_KINDS)):
        return True
    return any(is_orderly(block, used, record_sizes(kinds)) for kinds in tables())
