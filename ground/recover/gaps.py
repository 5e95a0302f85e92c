"""What the bytes between blocks hold: unwritten space, packets, or something of someone else."""

import numpy as np

from ground.recover.ledger import ONES, OTHER, ZEROS, Range
from ground.recover.packets import PACKET_MAX
from protocol.block import BLOCK_SIZE

_WORDS = BLOCK_SIZE // 8
# Ranges told in full. Beyond, only stretches that are blank from one block or window to the next are told
# from others, so that a source that alternates from sector to sector does not fill the memory.
RANGES_MAX = 1 << 17


def textures(data):
    """Runs of (length, state) that cover a uint8 array: whether it is all zeros, all ones or
    neither is judged by cells of a block's size.
    """
    state = texture(data)
    if state != OTHER:
        return [(len(data), state)]
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


def texture(data):
    """ZEROS or ONES if a uint8 array holds nothing else, otherwise OTHER."""
    if data[0] not in (0, 0xFF):
        return OTHER
    if not data.max():
        return ZEROS  # the most of a card: one fast pass is enough
    return ONES if data.min() == 0xFF else OTHER


class Gaps:
    """Takes the bytes between blocks in order. `ranges` tells their texture, `packets` what a
    PacketFinder found in them; `rough_from`: the offset from which textures are only told roughly.
    """

    def __init__(self, finder):
        self._finder = finder
        self.ranges = []
        self.packets = []
        self.rough_from = None

    def feed(self, offset, data):
        """Bytes (uint8) that stand at an offset of the source, in ascending order."""
        if not len(data):
            return
        state = texture(data)
        if state != OTHER:
            self.blank(offset, len(data), state)
            return
        self._skip_to(offset)
        if len(self.ranges) < RANGES_MAX:
            self._tell(offset, textures(data))
        else:
            self._tell(offset, [(len(data), OTHER)])
            self.rough_from = self.rough_from or offset
        self.packets += self._finder.feed(data.tobytes())

    def damaged(self, offset, data):
        """The same of the bytes of a damaged place. What looks like a block may be none and hide packets;
        nothing is told of its texture.
        """
        if len(data):
            self._skip_to(offset)
            self.packets += self._finder.feed(data.tobytes())

    def blank(self, offset, length, state):
        """The same of bytes that are all zeros or all ones."""
        self._skip_to(offset)
        self._tell(offset, [(length, state)])
        if self._finder.is_waiting:
            # Only the tail of a packet begun before can stand in there.
            near = min(length, PACKET_MAX)
            self.packets += self._finder.feed((b"\0" if state == ZEROS else b"\xff") * near)
            length -= near
        if length:
            self.packets += self._finder.skip(length)

    def _skip_to(self, offset):
        if offset != self._finder.offset:
            self.packets += self._finder.skip(offset - self._finder.offset)

    def _tell(self, offset, runs):
        for length, state in runs:
            last = self.ranges[-1] if self.ranges else None
            if last and last.end == offset and last.state == state:
                self.ranges[-1] = Range(last.offset, last.length + length, state)
            else:
                self.ranges.append(Range(offset, length, state))
            offset += length

    def finish(self):
        """The source has ended."""
        self.packets += self._finder.finish()
