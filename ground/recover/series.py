"""A series: the envelopes of one boot on one carrier, in the order in which they were written."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ground.layout import OWN_KINDS
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
    for packets a manifest completes them.
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

    @property
    def place(self):
        """Where in the source it begins."""
        return int(self.offsets.min())

    def decode(self, agrees):
        """Fill `records` and, from the series' own pieces, `manifest`; agrees(manifest) tells whether
        it is of this boot.
        """
        self._gather(OWN_KINDS)
        pieces = Pieces()
        if MANIFEST_KIND in self.records:
            pieces.add(self.records[MANIFEST_KIND])
        text = pieces.text()
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
        gatherer = Gatherer(kinds)
        for first, data, starts, ends in self.batches():
            gatherer.add(data, starts, ends, self.base_ms[first:first + len(starts)])
        self.kinds = kinds
        self.records = gatherer.finish()
        self.unreadable = gatherer.unreadable


def unwrapped(ticks):
    """Absolute times of base ticks that follow each other: int64 (n,) ms since boot."""
    ticks = np.asarray(ticks, np.int64)
    steps = tick_difference(ticks[1:], ticks[:-1])
    return np.concatenate([ticks[:1], steps]).cumsum()
