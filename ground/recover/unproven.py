"""Records that can still be read in blocks whose check sum is wrong: torn, or partly written over.

Nothing proves them. Of a block that neither parity nor repair gave back, whose header fits its neighbours,
the records count that stand in order, of known kinds, with times that can be, up to the first that does
not. One wrong byte inside a value goes unnoticed, so these records are kept apart from all others.
"""

from collections import defaultdict
from struct import unpack_from

import numpy as np

from ground.layout import RECORD_HEADER_DTYPE
from ground.recover.evidence import UNPROVEN
from ground.recover.grid import Grid
from ground.recover.headers import flight_of, header_of
from ground.recover.one_block import orderly_records
from ground.recover.records import record_sizes
from ground.recover.result import KindRecords, UnprovenLog
from protocol.block import BLOCK_FIRST, BLOCK_LIMIT, BLOCK_SIZE
from protocol.record import RECORD_HEADER
from protocol.tick import tick_difference

_HEADER_SIZE = RECORD_HEADER_DTYPE.itemsize


def unproven_logs(stock, source, damaged, series):
    """UnprovenLogs of the damaged blocks that were not restored.

    stock: Stock; source: has read_into; damaged: list of Damaged; series: decoded Series of blocks, whose
    kinds are used: a damaged block of a boot that left no whole one gives nothing.
    """
    grid = Grid(stock.found)
    of_boot = {(item.flight, item.boot): item for item in series}
    parts = defaultdict(lambda: defaultdict(list))
    for item in damaged:
        block = bytearray(BLOCK_SIZE)
        source.read_into(item.offset, memoryview(block)[:item.length])
        header = header_of(bytes(block))
        mine = of_boot.get((flight_of(header).hex(), int(header["boot"])))
        if mine is None or not _is_credible(stock, grid, header, item.offset):
            continue
        sizes = record_sizes(mine.kinds)
        positions, _ = orderly_records(block, int(header["used"]), sizes)
        base_ms = _base_ms(mine, header)
        for at in positions:
            if at + int(sizes[block[at]]) <= item.length:
                parts[mine.flight, mine.boot][block[at]].append((base_ms, bytes(block[at:]), item.why))
    return [_log(of_boot[key], kinds) for key, kinds in sorted(parts.items())]


def _is_credible(stock, grid, header, offset):
    flight = flight_of(header)
    if header["flags"] or header["used"] > BLOCK_LIMIT - BLOCK_FIRST or not grid.fits(header, offset):
        return False
    if stock.is_known(flight, int(header["place"])):
        return False
    neighbours = stock.neighbours(flight)
    return neighbours.agree(header) and neighbours.is_in_time(header)


def _base_ms(series, header):
    """Base tick of a block, unwrapped by the one nearest to it in number."""
    at = min(int(np.searchsorted(series.numbers, header["number"])), len(series.numbers) - 1)
    return int(series.base_ms[at]) + tick_difference(int(header["tick"]), int(series.base_ms[at]))


def _log(series, kinds):
    records, why = {}, {}
    for kind in series.kinds:
        found = kinds.get(kind.number, [])
        if found:
            data = b"".join(piece[_HEADER_SIZE:_HEADER_SIZE + kind.payload_size] for _, piece, _ in found)
            values = np.zeros(len(found), kind.dtype)
            if kind.payload_size:
                values = np.frombuffer(data, kind.dtype)
            tick_ms = np.array([base + unpack_from("<" + RECORD_HEADER, piece)[1] for base, piece, _ in found])
            order = np.argsort(tick_ms, kind="stable")
            levels = np.full(len(found), UNPROVEN, np.uint8)
            records[kind.name] = KindRecords(kind, tick_ms[order], values[order], levels)
            why[kind.name] = np.array([reason for _, _, reason in found], object)[order]
    return UnprovenLog(series.flight, series.boot, series.manifest, records, why)
