"""One reading of one source: where its blocks, packets and damaged places are."""

from dataclasses import dataclass, replace

import numpy as np

from ground.recover.blocks import BlockScanner, Damaged
from ground.recover.early import EarlyRecords
from ground.recover.gaps import Gaps
from ground.recover.ledger import ZEROS
from ground.recover.packets import PacketFinder

CUT_SHORT = "cut off by the end of the source"
READ_NO_FURTHER = "cut off where the source could be read no further"


@dataclass
class Scan:
    """found: array of FOUND_DTYPE; early: what they hold, where that could be gathered at once; unreadable:
    list of (offset, length). Offsets are those in the source; base: what is added to them where several
    sources are seen as one (see Joint).
    """

    source: object
    found: np.ndarray
    early: EarlyRecords
    damaged: list[Damaged]
    gaps: Gaps
    unreadable: list[tuple[int, int]]
    base: int = 0

    @property
    def holds_ours(self):
        """True if there are whole blocks or packets."""
        return bool(len(self.found) or self.gaps.packets)


def scan(source, report):
    """Read a Source from end to end: Scan. report: called without arguments after every window."""
    gaps = Gaps(PacketFinder())
    keeper = _Keeper(source, gaps)
    scanner = BlockScanner(source.size, keeper)
    early = EarlyRecords(source.size)
    for offset, view, own in source.windows():
        if view is None:
            scanner.blank(offset, own, ZEROS)
        else:
            keeper.begin(offset, view)
            early.add(offset, view, scanner.window(offset, view, own))
            keeper.end(own)
        source.limit(len(gaps.packets) + len(gaps.ranges))
        report()
    gaps.finish()
    if gaps.rough_from is not None:
        source.notes.append(
            f"what was never written is told only roughly from byte {gaps.rough_from} on: it changes too "
            "often"
        )
    if source.broken:
        source.notes.append(f"the file {source.broken}; what it expands to before that was used")
    damaged = [_within(item, source) for item in scanner.damaged]
    return Scan(source, scanner.found(), early, damaged, gaps, source.unreadable())


def _within(damaged, source):
    """A damaged place as it is, now that the end of the source is known, at which it may have to end."""
    if damaged.offset + damaged.length <= source.size:
        return damaged
    why = READ_NO_FURTHER if source.broken else CUT_SHORT
    return replace(damaged, length=source.size - damaged.offset, why=why)


class _Keeper:
    """Stands before the Gaps and lets the source keep all that is no gap: blocks and damaged places."""

    def __init__(self, source, gaps):
        self._source, self._gaps = source, gaps
        self._offset, self._view, self._at = 0, b"", 0

    def begin(self, offset, view):
        self._offset, self._view = offset, view
        self._at = max(self._at, offset)

    def feed(self, offset, data):
        self._keep(offset)
        self._gaps.feed(offset, data)
        self._at = offset + len(data)

    def damaged(self, offset, data):
        self._gaps.damaged(offset, data)

    def blank(self, offset, length, state):
        self._keep(offset)
        self._gaps.blank(offset, length, state)
        self._at = offset + length

    def end(self, own):
        # What begins in this window may end in the next one, of which no more is shown than that.
        if self._at < self._offset + own:
            self._keep(self._offset + len(self._view))

    def _keep(self, stop):
        if self._at < stop:
            self._source.keep(self._at, self._view[self._at - self._offset:stop - self._offset])
            self._at = stop
