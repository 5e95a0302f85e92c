"""Finding blocks at any byte offset: magic, plausible header, CRC-32."""

from dataclasses import dataclass
from zlib import crc32

import numpy as np

from ground.layout import BLOCK_DTYPE, BLOCK_HEADER_DTYPE
from ground.recover.headers import is_parity
from ground.recover.arrays import joined
from ground.recover.gaps import texture
from ground.recover.ledger import OTHER
from ground.recover.search import overlapping, positions
from protocol.block import BLOCK_FIRST, BLOCK_LIMIT, BLOCK_MAGIC, BLOCK_SIZE

FOUND_DTYPE = np.dtype([("offset", "<i8"), ("header", BLOCK_HEADER_DTYPE), ("crc", "<u4")])
# The same with the header as plain bytes, which numpy moves much faster than fields.
_PLAIN_DTYPE = np.dtype([
    ("offset", "<i8"), ("header", np.void, BLOCK_HEADER_DTYPE.itemsize), ("crc", "<u4"),
])
_VERSION_MAX = 15  # versions above ours are found, not decoded; noise rarely looks like one
_SEARCH_FIRST, _SEARCH_GROWTH = 1 << 11, 32  # bytes searched at first, and by how much that grows
_MAGIC_WORD = np.frombuffer(BLOCK_MAGIC, "<u4")[0]
# Equal in all blocks of a flight, so they tell a damaged one.
_IDENTITY = np.concatenate([
    BLOCK_HEADER_DTYPE.fields[name][1] + np.arange(BLOCK_HEADER_DTYPE[name].itemsize)
    for name in ("version", "depth", "rate", "flight")
])


@dataclass(frozen=True)
class Damaged:
    """A place where a block of ours stood or still stands in part. `header` is what it says of
    itself, unproven: a structured scalar.
    """

    offset: int
    length: int
    header: np.void
    why: str

    @property
    def magic_intact(self):
        """True if its first bytes are as they were written."""
        return bytes(self.header["magic"]) == BLOCK_MAGIC


# Register of the CRC-32 after 0, 1, 2, ... whole blocks, whatever they hold: a block that ends
# with its own CRC-32 takes the register from one constant to the next.
_RESIDUES = [0]
_WHOLE = bytes(BLOCK_LIMIT) + crc32(bytes(BLOCK_LIMIT)).to_bytes(4, "little")


def _residue(count):
    while len(_RESIDUES) <= count:
        _RESIDUES.append(crc32(_WHOLE, _RESIDUES[-1]))
    return _RESIDUES[count]


def leading_whole(view, count):
    """How many of the first `count` blocks of a memoryview are whole, up to the first that is not.
    One CRC call proves many blocks; their number doubles, and halves again after a failure.
    """
    whole, step = 0, 1
    growing = True
    while whole < count and step:
        step = min(step, count - whole)
        part = view[BLOCK_SIZE * whole:BLOCK_SIZE * (whole + step)]
        if crc32(part, _residue(whole)) == _residue(whole + step):
            whole += step
            step = step * 2 if growing else step
        else:
            growing = False
        if not growing:
            step //= 2
    return whole


def plausible(data, starts):
    """Those starts of a magic whose header could be a block's."""
    starts = starts[starts <= len(data) - BLOCK_HEADER_DTYPE.itemsize]
    headers = overlapping(data, BLOCK_HEADER_DTYPE)[starts]
    known = (headers["version"] >= 1) & (headers["version"] <= _VERSION_MAX)
    # Of parity only the header up to `place` has its meaning.
    filled = (headers["used"] <= BLOCK_LIMIT - BLOCK_FIRST) | is_parity(headers)
    return starts[known & filled]


def next_candidates(data, start):
    """Plausible starts in ascending order, from `start` to at least a block's length behind the first one;
    more are not looked for, since there the next whole block may begin.
    """
    length = _SEARCH_FIRST
    while True:
        found = plausible(data, start + positions(data[start:start + length], BLOCK_MAGIC))
        enough = len(found) and found[0] - start + BLOCK_SIZE + len(BLOCK_MAGIC) <= length
        if enough or start + length >= len(data):
            return found
        length *= _SEARCH_GROWTH


class BlockScanner:
    """Takes a source window by window and says where blocks are: `found()` and `damaged`.
    The bytes between go to `gaps.feed(offset, data)` and `gaps.blank(offset, length, state)`, those of
    damaged places to `gaps.damaged(offset, data)`.
    """

    def __init__(self, source_size, gaps):
        self._found = []
        self.damaged = []
        self._size = source_size
        self._gaps = gaps
        self._at = 0  # everything before this offset has been told
        self._neighbour = None  # (end, identity bytes) of the last whole block

    def found(self):
        """All whole blocks so far, in order of offset: array of FOUND_DTYPE."""
        return joined(self._found, FOUND_DTYPE)

    def window(self, offset, view, own):
        """The bytes of one window; see Source.windows. Returns the whole blocks that begin in it."""
        before = len(self._found)
        data = np.frombuffer(view, np.uint8)
        state = texture(data)
        if state != OTHER:
            self.blank(offset, own, state)
        while self._at < offset + own:
            at = self._at - offset
            # On an intact log block follows block, and nothing needs to be searched for.
            whole = self._run(data, view, at)
            if whole:
                self._take(offset, data, at, whole)
                continue
            candidates = next_candidates(data, at)
            if len(candidates) and candidates[0] == at:
                self._damage(offset, data, view, at, candidates[1:], "check sum wrong")
                continue
            stop = min(own, int(candidates[0])) if len(candidates) else own
            self._gap(offset, data, view, at, stop, candidates)
        return joined(self._found[before:], FOUND_DTYPE)

    def blank(self, offset, own, state):
        """A window that is known to hold only zeros, or only ones, and so do the bytes behind it in which a
        block that begins in it would end. No magic can begin in it, nor anything else that tells of a block.
        """
        if self._at < offset + own:
            self._gaps.blank(self._at, offset + own - self._at, state)
            self._at = offset + own

    def _run(self, data, view, start):
        """How many whole blocks follow each other from `start`, 0 if none begins there."""
        count = (len(data) - start) // BLOCK_SIZE
        heads = data[start:start + count * BLOCK_SIZE].view("<u4")[::BLOCK_SIZE // 4]
        other = np.flatnonzero(heads != _MAGIC_WORD)
        return leading_whole(view[start:], int(other[0]) if len(other) else count)

    def _take(self, offset, data, start, count):
        blocks = data[start:start + count * BLOCK_SIZE].view(BLOCK_DTYPE)
        found = np.empty(count, _PLAIN_DTYPE)
        found["offset"] = offset + start + BLOCK_SIZE * np.arange(count)
        found["header"] = np.ndarray(count, _PLAIN_DTYPE["header"], data, start, (BLOCK_SIZE,))
        found["crc"] = blocks["crc"]
        self._found.append(found.view(FOUND_DTYPE))
        self._at = offset + start + count * BLOCK_SIZE
        last = start + (count - 1) * BLOCK_SIZE
        self._neighbour = (self._at, data[last:last + BLOCK_SIZE][_IDENTITY].tobytes())

    def _damage(self, offset, data, view, start, later, why):
        """A damaged block ends where the next whole one begins: bytes may have been cut out."""
        end = start + BLOCK_SIZE
        for candidate in later[later < end]:
            if self._run(data, view, int(candidate)):
                end = int(candidate)
                break
        if offset + end > self._size:
            end = self._size - offset
            why = "cut off by the end of the source"
        header = data[start:start + BLOCK_HEADER_DTYPE.itemsize].view(BLOCK_HEADER_DTYPE)[0].copy()
        self.damaged.append(Damaged(offset + start, end - start, header, why))
        self._gaps.damaged(offset + start, data[start:end])
        self._at = offset + end

    def _gap(self, offset, data, view, at, stop, later):
        """Bytes in which no block begins by its magic. A block whose magic is damaged is known by
        standing on the grid of its neighbour, of the same flight.
        later: where blocks may begin behind the gap.
        """
        neighbours = [self._neighbour] if self._neighbour else []
        if len(later) and self._run(data, view, int(later[0])):
            behind = int(later[0])
            neighbours.append((offset + behind, data[behind:behind + BLOCK_SIZE][_IDENTITY].tobytes()))
        hits = set()
        for place, identity in neighbours:
            hits.update(self._on_grid(data, at, stop, place - offset, identity))
        for hit in sorted(hits):
            if hit < self._at - offset:
                continue
            self._gaps.feed(self._at, data[self._at - offset:hit])
            self._damage(offset, data, view, hit, later, "header damaged")
        if self._at < offset + stop:
            self._gaps.feed(self._at, data[self._at - offset:stop])
            self._at = offset + stop

    @staticmethod
    def _on_grid(data, at, stop, place, identity):
        """Offsets in [at, stop) on the grid of `place` that carry the magic or the identity."""
        stop = min(stop, len(data) - BLOCK_HEADER_DTYPE.itemsize + 1)
        slots = np.arange(at + (place - at) % BLOCK_SIZE, stop, BLOCK_SIZE)
        same = (data[slots[:, None] + _IDENTITY] == np.frombuffer(identity, np.uint8)).all(axis=1)
        magic = np.frombuffer(BLOCK_MAGIC, np.uint8)
        same |= (data[slots[:, None] + np.arange(len(magic))] == magic).all(axis=1)
        return slots[same].tolist()
