"""Walking records in many envelopes at once, and gathering them kind by kind."""

from dataclasses import dataclass

import numpy as np

from ground.layout import RECORD_HEADER_DTYPE
from ground.recover.result import KindRecords
from ground.recover.search import overlapping

_HEADER_SIZE = RECORD_HEADER_DTYPE.itemsize
_DIFFERENCE_AT = RECORD_HEADER_DTYPE.fields["difference"][1]


def record_sizes(kinds):
    """Bytes of a whole record by kind number: int64 (256,), 0 where the kind is not known."""
    sizes = np.zeros(256, np.int64)
    for kind in kinds:
        sizes[kind.number] = _HEADER_SIZE + kind.payload_size
    return sizes


@dataclass
class Walk:
    """Where the records of n envelopes are. positions: int64 (m,), in order of envelope, then of
    record; counts: int64 (n,), records of each envelope; stopped: bool (n,), true where the walk
    met a kind of unknown size or a record that does not fit.
    """

    positions: np.ndarray
    counts: np.ndarray
    stopped: np.ndarray


def walk(data, starts, ends, sizes):
    """Find the records of all envelopes at once, the first of each, then the second of each, ...
    data: uint8; starts, ends: int64 (n,), where each envelope's records begin and end in data;
    sizes: see record_sizes.
    """
    stopped = np.zeros(len(starts), bool)
    counts = np.zeros(len(starts), np.int64)
    rounds = []
    active = np.flatnonzero(starts < ends)
    at, end = starts[active], ends[active]
    while len(active):
        size = sizes[data[at]]
        following = at + size
        good = (size > 0) & (following <= end)
        if not good.all():
            stopped[active[~good]] = True
            active, at, following, end = active[good], at[good], following[good], end[good]
        counts[active] += 1
        rounds.append((active, at))
        going = following < end
        if going.all():
            at = following
        else:
            active, at, end = active[going], following[going], end[going]
    first = counts.cumsum() - counts
    positions = np.empty(int(counts.sum()), np.int64)
    for index, (envelopes, places) in enumerate(rounds):
        positions[first[envelopes] + index] = places
    return Walk(positions, counts, stopped)


class Gatherer:
    """Collects the records of one boot, batch by batch, into arrays by kind."""

    def __init__(self, kinds):
        self._kinds = kinds
        self._sizes = record_sizes(kinds)
        self._parts = {kind.number: [] for kind in kinds}
        self.unreadable = 0

    def add(self, data, starts, ends, base_ms):
        """A batch of envelopes in the boot's order. data: uint8, which may be used again afterwards;
        starts, ends: see walk; base_ms: int64 (n,), their base ticks, unwrapped.
        """
        found = walk(data, starts, ends, self._sizes)
        self.unreadable += int(found.stopped.sum())
        kinds = data[found.positions]
        differences = overlapping(data, np.dtype("<i2"))[found.positions + _DIFFERENCE_AT]
        tick_ms = np.repeat(base_ms, found.counts) + differences
        for kind in self._kinds:
            chosen = np.flatnonzero(kinds == kind.number)
            if len(chosen):
                payload = _gather(data, found.positions[chosen] + _HEADER_SIZE, kind)
                self._parts[kind.number].append((tick_ms[chosen], payload))

    def finish(self):
        """Everything collected: dict of kind name to KindRecords, kinds without records left out."""
        records = {}
        for kind in self._kinds:
            parts = self._parts[kind.number]
            if parts:
                tick_ms = np.concatenate([part[0] for part in parts])
                # As plain bytes, which numpy joins much faster than fields.
                payload = np.concatenate([part[1] for part in parts])
                records[kind.name] = in_order(KindRecords(kind, tick_ms, payload.view(kind.dtype)))
        return records


def _gather(data, positions, kind):
    if not kind.payload_size:
        return np.zeros(len(positions), kind.dtype)
    return overlapping(data, np.dtype((np.void, kind.payload_size)))[positions]


def in_order(records):
    """The same records sorted stably by time."""
    if (records.tick_ms[1:] < records.tick_ms[:-1]).any():
        order = np.argsort(records.tick_ms, kind="stable")
        return KindRecords(records.layout, records.tick_ms[order], records.values[order])
    return records
