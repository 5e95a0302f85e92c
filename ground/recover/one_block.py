"""The records of a single block that no check sum proves, judged by their looks."""

from struct import unpack_from

from ground.recover.neighbours import SLACK_MS
from protocol.block import BLOCK_FIRST, BLOCK_LIMIT
from protocol.record import RECORD_HEADER, RECORD_OVERHEAD

_JUMP_MS = 5000  # a block is closed two seconds after its first record, later only if the card made it wait


def orderly_records(block, used, sizes):
    """Where the records stand that follow each other without fault: (list of positions, where they end).

    block: 512 bytes; used: bytes of records by its header; sizes: bytes of a record by kind number, 0 =
    unknown. It ends before the first record of an unknown kind, that does not fit, or whose time falls more
    than SLACK_MS behind the latest or jumps ahead of it.
    """
    at, end = BLOCK_FIRST, min(BLOCK_FIRST + used, BLOCK_LIMIT)
    positions, latest = [], 0
    while at + RECORD_OVERHEAD <= end:
        kind, difference = unpack_from("<" + RECORD_HEADER, block, at)
        size = int(sizes[kind])
        if not size or at + size > end or not latest - SLACK_MS <= difference <= latest + _JUMP_MS:
            break
        positions.append(at)
        latest = max(latest, difference)
        at += size
    return positions, at


def is_orderly(block, used, sizes):
    """True if such records take exactly `used` bytes and zeros follow."""
    _, end = orderly_records(block, used, sizes)
    return end == BLOCK_FIRST + used and not any(block[end:BLOCK_LIMIT])
