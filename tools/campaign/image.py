"""A source in the making that knows, byte by byte, where each block of ours stands and whether it was
touched.
"""

from bisect import bisect_left

SECTOR = 512


class Image:
    """data: bytearray; placements: list of (offset, Written), ascending: blocks whose 512 bytes stand in
    one piece, changed or not. Edits move and remove placements as they move and tear blocks.
    """

    def __init__(self, data=b"", placements=()):
        self.data = bytearray(data)
        self.placements = sorted(placements, key=_offset)
        self.done = []  # what was done, in words

    def __len__(self):
        return len(self.data)

    def append(self, data, placements=()):
        """Add bytes at the end, with blocks at offsets in these bytes."""
        base = len(self.data)
        self.data += data
        self.placements += sorted(((base + at, block) for at, block in placements), key=_offset)

    def overwrite(self, offset, data):
        """Change bytes where they stand."""
        data = data[:max(0, len(self.data) - offset)]
        self.data[offset:offset + len(data)] = data

    def flip(self, offset, bits):
        """Exclusive or of a byte."""
        self.data[offset] ^= bits

    def insert(self, offset, data, placements=()):
        """Push everything from an offset on upwards."""
        self.data[offset:offset] = data
        kept = [(at, block) for at, block in self.placements if not at < offset < at + SECTOR]
        kept = [(at + len(data) if at >= offset else at, block) for at, block in kept]
        self.placements = sorted(kept + [(offset + at, block) for at, block in placements], key=_offset)

    def delete(self, offset, count):
        """Cut bytes out."""
        stop = min(offset + count, len(self.data))
        del self.data[offset:stop]
        kept = [(at, block) for at, block in self.placements if at + SECTOR <= offset or at >= stop]
        self.placements = [(at - (stop - offset) if at >= stop else at, block) for at, block in kept]

    def piece(self, start, stop):
        """Bytes [start, stop) and the blocks that stand wholly in them, for append or insert."""
        first = bisect_left(self.placements, start, key=_offset)
        inside = []
        for at, block in self.placements[first:]:
            if at >= stop:
                break
            if at + SECTOR <= stop:
                inside.append((at - start, block))
        return bytes(self.data[start:stop]), inside

    def span(self):
        """(start, stop) from the first block to the end of the last; the whole image if it has none."""
        if not self.placements:
            return 0, len(self.data)
        return self.placements[0][0], self.placements[-1][0] + SECTOR


def _offset(placement):
    return placement[0]


def image_of(log, stop=None):
    """The log's region as a file would hold it: Image. stop: sectors of it, all if not given."""
    stop = len(log.sectors) // SECTOR if stop is None else stop
    blocks = [(block.place * SECTOR, block) for block in [*log.blocks, *log.torn] if block.place < stop]
    return Image(log.sectors[:stop * SECTOR], blocks)
