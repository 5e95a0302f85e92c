"""Records that can still be read in blocks whose check sum is wrong: torn, or partly written over.

Nothing proves them. Of a block that neither parity nor repair gave back, whose header fits its neighbours,
the records count that stand in order, of known kinds, with times that can be, up to the first that does
not. One wrong byte inside a value goes unnoticed, so these records are kept apart from all others.
"""

from collections import defaultdict

import numpy as np

from ground.recover.evidence import UNPROVEN
from ground.recover.grid import Grid
from ground.recover.headers import flight_of, header_of
from ground.recover.one_block import headers_of, orderly_ends
from ground.recover.records import Gatherer, record_sizes
from ground.recover.result import UnprovenLog
from protocol.block import BLOCK_FIRST, BLOCK_LIMIT, BLOCK_SIZE
from protocol.tick import tick_difference


def unproven_logs(stock, source, damaged, series):
    """UnprovenLogs of the damaged blocks that were not restored.

    stock: Stock; source: has read_into; damaged: list of Damaged; series: decoded Series of blocks, whose
    kinds are used: a damaged block of a boot that left no whole one gives nothing.
    """
    grid = Grid(stock.found)
    of_boot = {(item.flight, item.boot): item for item in series}
    restored = {item.offset for item in stock.restored}
    parts = defaultdict(list)
    for item in damaged:
        if item.offset in restored:
            continue
        block = bytearray(BLOCK_SIZE)
        source.read_into(item.offset, memoryview(block)[:item.length])
        header = header_of(block)
        key = flight_of(header).hex(), int(header["boot"])
        if key in of_boot and _is_credible(stock, grid, header, item.offset):
            parts[key].append((block, item))
    logs = [_log(of_boot[key], *zip(*parts[key], strict=True)) for key in sorted(parts)]
    return [log for log in logs if log.records]


def _is_credible(stock, grid, header, offset):
    flight = flight_of(header)
    if header["flags"] or header["used"] > BLOCK_LIMIT - BLOCK_FIRST:
        return False
    if stock.is_known(flight, int(header["place"])) or not grid.fits(header, offset):
        return False
    return stock.neighbours(flight).agree_in_time(header)


def _base_ms(series, headers):
    """Base ticks of blocks, each unwrapped by the one nearest to it in number."""
    at = np.minimum(np.searchsorted(series.numbers, headers["number"]), len(series.numbers) - 1)
    near_ms = series.base_ms[at]
    return near_ms + tick_difference(headers["tick"].astype(np.int64), near_ms)


def _log(series, blocks, damaged):
    """UnprovenLog of one boot. blocks: of 512 bytes; damaged: Damaged for each."""
    data = np.frombuffer(b"".join(blocks), np.uint8).reshape(-1, BLOCK_SIZE)
    headers = headers_of(data)
    ends = np.minimum(orderly_ends(data, headers["used"], record_sizes(series.kinds)), [
        item.length for item in damaged
    ])
    begins = BLOCK_SIZE * np.arange(len(blocks))
    reasons = sorted({item.why for item in damaged})
    reason = np.array([reasons.index(item.why) for item in damaged], np.uint8)
    gatherer = Gatherer(series.kinds)
    # Their reason passes through it in place of their level of evidence, which is the same for all.
    gatherer.add(
        data.ravel(), begins + BLOCK_FIRST, begins + ends, _base_ms(series, headers), evidence=reason,
    )
    records = gatherer.finish()
    why = {name: np.array(reasons, object)[found.evidence] for name, found in records.items()}
    for found in records.values():
        found.evidence = np.full(len(found.tick_ms), UNPROVEN, np.uint8)
    return UnprovenLog(series.flight, series.boot, series.manifest, records, why)
