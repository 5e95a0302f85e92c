"""A series: the envelopes of one boot on one carrier, in the order in which they were written."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ground.layout import OWN_KINDS
from ground.recover.evidence import PROVEN
from ground.recover.manifest import MANIFEST_KIND, Pieces, parse_manifest
from ground.recover.records import Gatherer
from ground.recover.result import KindLayout, KindRecords, Manifest
from protocol.tick import tick_difference

BATCH = 2048  # envelopes decoded at once


@dataclass
class Series:
    """envelope: 'block' or 'packet'; place: offset of the first found in the source;
    numbers, base_ms: int64 (n,), unwrapped, ascending by number; offsets: int64 (n,), in the source;
    batches: called without arguments, yields (first, data, starts, ends): the records of the envelopes
    from index `first` on, see records.walk. flight and boot are known before decoding for blocks;
    for packets a manifest completes them. early: its records by this program's own table, if they have
    been gathered already. Of blocks: places: int64 (n,), of their sectors in the log; offsets are -1 where a
    restored block's is not known; evidence: uint8 (n,), None if all are proven; parity: depth, rate.
    """

    envelope: str
    flight: str
    boot: int
    numbers: np.ndarray
    base_ms: np.ndarray
    offsets: np.ndarray
    batches: Callable
    manifest: Manifest | None = None
    manifest_borrowed: bool = False
    kinds: tuple[KindLayout, ...] = ()
    records: dict[str, KindRecords] | None = None
    unreadable: int = 0
    early: Gatherer | None = None
    places: np.ndarray | None = None
    evidence: np.ndarray | None = None
    parity: tuple[int, int] = (0, 0)

    @property
    def place(self):
        """Where in the source it begins."""
        known = self.offsets[self.offsets >= 0]
        return int(known.min(initial=np.iinfo(np.int64).max))

    def proven(self):
        """The same without the envelopes that are not proven; not to be decoded."""
        if self.evidence is None:
            return self
        kept = self.evidence == PROVEN
        return replace(
            self, numbers=self.numbers[kept], base_ms=self.base_ms[kept], offsets=self.offsets[kept],
            places=self.places[kept], evidence=None,
        )

    def count(self, level):
        """How many of its envelopes have this level of evidence."""
        return 0 if self.evidence is None else int((self.evidence == level).sum())

    def decode(self, agrees):
        """Fill `records` and, from the series' own pieces, `manifest`; agrees(manifest) tells whether
        it is of this boot.
        """
        self._gather(OWN_KINDS)
        if MANIFEST_KIND not in self.records:
            return
        text = Pieces().text_of(self.records[MANIFEST_KIND])
        if text is not None:
            manifest = parse_manifest(text)
            if agrees(manifest):
                self.decode_by(manifest, borrowed=False)

    def decode_by(self, manifest, borrowed):
        """Decode again by the table of a manifest, which may be that of another boot."""
        self.manifest = manifest
        self.manifest_borrowed = borrowed
        # Nearly always the log's table is this program's own, and the work is done already.
        if manifest.kinds != self.kinds:
            self._gather(manifest.kinds)

    def _gather(self, kinds):
        gatherer, self.early = self.early, None
        if gatherer is None:
            gatherer = Gatherer(kinds)
            for first, data, starts, ends in self.batches():
                part = slice(first, first + len(starts))
                level = None if self.evidence is None else self.evidence[part]
                gatherer.add(data, starts, ends, self.base_ms[part], part.stop / len(self.base_ms), level)
        self.kinds = kinds
        self.records = gatherer.finish()
        self.unreadable = gatherer.unreadable


def unwrapped(ticks):
    """Absolute times of base ticks that follow each other: int64 (n,) ms since boot."""
    ticks = np.asarray(ticks, np.int64)
    steps = tick_difference(ticks[1:], ticks[:-1])
    return np.concatenate([ticks[:1], steps]).cumsum()
