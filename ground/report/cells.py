"""A source as rows of equal cells, each of which shows the worst that lies in it."""

from bisect import bisect_left, bisect_right
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ground.report.looks import LOOKS, OF_THE_LOG
from protocol.block import BLOCK_SIZE

COLUMNS = 64
OVERVIEW_CELLS_MAX = 32 * COLUMNS
CLOSE_UP_CELLS_MAX = 96 * COLUMNS
_APART = 1 << 20  # bytes without a log that end a stretch of it


@dataclass(frozen=True)
class Grid:
    """Cells of `cell_size` bytes, from offset `start` up to `stop`, which the last one may not reach.
    worst: uint8 (n,), index in LOOKS of each cell.
    """

    start: int
    stop: int
    cell_size: int
    worst: np.ndarray

    @property
    def rows(self):
        """Number of rows, of which the last may not be full."""
        return -(-len(self.worst) // COLUMNS)

    def runs(self):
        """Runs of equal cells in order: (first cell, cell after the last, Look)."""
        edges = np.flatnonzero(np.diff(self.worst)) + 1
        bounds = [0, *edges.tolist(), len(self.worst)]
        return [(first, last, LOOKS[self.worst[first]]) for first, last in pairwise(bounds)]

    def bytes_of(self, first, last):
        """(first byte, byte after the last) of cells first .. last - 1."""
        return self.start + first * self.cell_size, min(self.stop, self.start + last * self.cell_size)


def overview(seen, size):
    """The Grid of a whole source of `size` bytes, at least 1. seen: list of Seen."""
    cell_size = BLOCK_SIZE
    while -(-size // cell_size) > OVERVIEW_CELLS_MAX:
        cell_size *= 2
    return _grid(seen, 0, size, cell_size)


def close_up(seen, start, stop):
    """The Grid of a part of a source, which begins up to a row earlier, so that its rows begin at round
    offsets and its cells where blocks do.
    """
    cell_size = BLOCK_SIZE
    while True:
        row = COLUMNS * cell_size
        begin = start // row * row + start % BLOCK_SIZE
        if -(-(stop - begin) // cell_size) <= CLOSE_UP_CELLS_MAX:
            return _grid(seen, begin, stop, cell_size)
        cell_size *= 2


def _grid(seen, start, stop, cell_size):
    worst = np.full(-(-(stop - start) // cell_size), len(LOOKS) - 1, np.uint8)
    rank = {look: index for index, look in enumerate(LOOKS)}
    for item in overlapping(seen, start, stop):
        first = max(0, item.range.offset - start) // cell_size
        last = -(-(min(item.range.end, stop) - start) // cell_size)
        np.minimum(worst[first:last], rank[item.look], out=worst[first:last])
    return Grid(start, stop, cell_size, worst)


def overlapping(seen, start, stop):
    """Those of a source's Seen that hold bytes of start .. stop - 1."""
    first = bisect_right(seen, start, key=lambda item: item.range.end)
    return seen[first:bisect_left(seen, stop, lo=first, key=lambda item: item.range.offset)]


def bytes_by_look(seen, start, stop):
    """Bytes of start .. stop - 1 that have each look: Counter."""
    totals = Counter()
    for item in overlapping(seen, start, stop):
        totals[item.look] += min(item.range.end, stop) - max(item.range.offset, start)
    return totals


@dataclass(frozen=True)
class Stretch:
    """A part of a source that holds a log; others: how many smaller ones there are elsewhere."""

    start: int
    stop: int
    others: int


def where_the_log_lies(seen):
    """The longest Stretch that holds a log; None if there is none."""
    stretches = []
    for item in seen:
        if item.look in OF_THE_LOG:
            if stretches and item.range.offset - stretches[-1][1] <= _APART:
                stretches[-1][1] = item.range.end
            else:
                stretches.append([item.range.offset, item.range.end])
    if not stretches:
        return None
    start, stop = max(stretches, key=lambda stretch: stretch[1] - stretch[0])
    return Stretch(start, stop, len(stretches) - 1)
