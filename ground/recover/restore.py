"""Restoring lost and damaged blocks: parity first, then repair, then parity again with what was repaired."""

from ground.recover.grid import Grid
from ground.recover.parity import Rebuilder
from ground.recover.repair import repair
from protocol.block import BLOCK_SIZE

_ROUNDS_MAX = 4  # each needs the numbers that the one before brought


def restore(stock, source, damaged, tables):
    """Add to the stock every block that parity or a small repair gives back.

    stock: Stock; source: has read_into; damaged: list of Damaged; tables: see `repair`.
    """
    rebuilder = Rebuilder(stock)
    rebuilder.run()
    grid = Grid(stock.found)
    waiting = [item.offset for item in damaged if item.length == BLOCK_SIZE]
    for _ in range(_ROUNDS_MAX):
        before = len(stock.restored)
        parity, waiting = repair(stock, grid, _blocks(source, waiting), tables)
        for offset, block in parity:
            rebuilder.add(block, offset)
        if not rebuilder.run() and len(stock.restored) == before:
            break


def _blocks(source, offsets):
    """(offset, bytes) of the blocks at these offsets."""
    for offset in offsets:
        block = bytearray(BLOCK_SIZE)
        source.read_into(offset, memoryview(block))
        yield offset, bytes(block)
