"""The records of single blocks that no check sum proves, judged by their looks."""

import numpy as np

from ground.layout import BLOCK_HEADER_DTYPE
from ground.recover.neighbours import SLACK_MS
from ground.recover.records import differences, walk
from protocol.block import BLOCK_FIRST, BLOCK_LIMIT, BLOCK_SIZE

_JUMP_MS = 5000  # a block is closed two seconds after its first record, later only if the card made it wait


def headers_of(blocks):
    """Headers of blocks, uint8 (n, 512): structured (n,)."""
    return np.ndarray(len(blocks), BLOCK_HEADER_DTYPE, blocks, 0, (BLOCK_SIZE,)).copy()


def orderly_ends(blocks, used, sizes):
    """Where the records end that follow each other without fault: int64 (n,), offsets in the blocks.

    blocks: uint8 (n, 512); used: int (n,), bytes of records by the headers; sizes: bytes of a record by kind
    number, 0 = unknown. They end before the first record of an unknown kind, that does not fit, or whose time
    falls more than SLACK_MS behind the latest or jumps ahead of it.
    """
    starts = BLOCK_SIZE * np.arange(len(blocks)) + BLOCK_FIRST
    ends = starts + np.minimum(used, BLOCK_LIMIT - BLOCK_FIRST)
    found = walk(blocks.ravel(), starts, ends, sizes)
    kinds, positions = (array.reshape(len(blocks), found.most) for array in (found.kinds, found.positions))
    orderly = kinds != 0
    times = np.zeros((len(blocks), found.most + 1), np.int64)
    times[:, 1:][orderly] = differences(blocks.ravel(), positions[orderly])
    latest = np.maximum.accumulate(times, axis=1)[:, :-1]
    orderly &= (times[:, 1:] >= latest - SLACK_MS) & (times[:, 1:] <= latest + _JUMP_MS)
    orderly = np.logical_and.accumulate(orderly, axis=1)
    return BLOCK_FIRST + (sizes[kinds] * orderly).sum(axis=1)


def are_orderly(blocks, used, sizes):
    """bool (n,): such records take exactly `used` bytes, and zeros follow. See orderly_ends."""
    ends = orderly_ends(blocks, used, sizes)
    behind = np.arange(BLOCK_LIMIT) >= ends[:, None]
    return (ends == BLOCK_FIRST + used.astype(np.int64)) & ~(blocks[:, :BLOCK_LIMIT] * behind).any(axis=1)
