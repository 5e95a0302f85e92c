"""What the bytes between blocks hold: unwritten space, packets, or something of someone else."""

import numpy as np

from ground.recover.ledger import ONES, OTHER, ZEROS, Range
from ground.recover.packets import PACKET_MAX
from protocol.block import BLOCK_SIZE

_WORDS = BLOCK_SIZE // 8


def textures(data):
    """Runs of (length, state) that cover a uint8 array: whether it is all zeros, all ones or
    neither is judged by cells of a block's size.
    """
    low, high = int(data.min()), int(data.max())
    if low == high and low in (0, 0xFF):
        return [(len(data), ZEROS if low == 0 else ONES)]
    count = len(data) // BLOCK_SIZE
    cells = data[:count * BLOCK_SIZE].view("<u8").reshape(count, _WORDS)
    kinds = np.zeros(count + 1, np.uint8)
    for mark, word in ((1, 0), (2, 0xFFFFFFFFFFFFFFFF)):
        # The first word alone rules out most cells of foreign data.
        chosen = np.flatnonzero(cells[:, 0] == word) if count else np.empty(0, np.int64)
        kinds[chosen[(cells[chosen] == word).all(axis=1)]] = mark
    tail = data[count * BLOCK_SIZE:]
    if len(tail) and tail.min() == tail.max() and tail[0] in (0, 0xFF):
        kinds[count] = 1 if tail[0] == 0 else 2
    edges = np.flatnonzero(np.diff(kinds)) + 1
    bounds = [0, *(edges * BLOCK_SIZE).tolist(), len(data)]
    states = (OTHER, ZEROS, ONES)
    return [
        (stop - start, states[kinds[start // BLOCK_SIZE]])
        for start, stop in zip(bounds, bounds[1:], strict=False) if stop > start
    ]


class Gaps:
    """Takes the bytes between blocks in order. `ranges` tells their texture, `packets` what a
    PacketFinder found in them.
    """

    def __init__(self, finder):
        self._finder = finder
        self.ranges = []
        self.packets = []

    def feed(self, offset, data):
        """Bytes (uint8) that stand at an offset of the source, in ascending order."""
        if not len(data):
            return
        finder = self._finder
        if offset != finder.offset:
            self.packets += finder.skip(offset - finder.offset)
        runs = textures(data)
        for length, state in runs:
            last = self.ranges[-1] if self.ranges else None
            if last and last.end == offset and last.state == state:
                self.ranges[-1] = Range(last.offset, last.length + length, state)
            else:
                self.ranges.append(Range(offset, length, state))
            offset += length
        if len(runs) == 1 and runs[0][1] != OTHER and len(data) > PACKET_MAX:
            # Only the tail of a packet begun before can stand in there.
            self.packets += finder.feed(data[:PACKET_MAX].tobytes())
            self.packets += finder.skip(len(data) - PACKET_MAX)
        else:
            self.packets += finder.feed(data.tobytes())

    def finish(self):
        """The source has ended."""
        self.packets += self._finder.finish()
