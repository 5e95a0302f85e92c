"""Walking records in many envelopes at once, and gathering them kind by kind."""

from dataclasses import dataclass

import numpy as np

from ground.layout import RECORD_HEADER_DTYPE
from ground.recover.result import KindRecords
from ground.recover.search import overlapping

_ROOM_MAX = 16  # times as much as came so far
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
    """Where the records of n envelopes are. `most`: records of the envelope that has most;
    kinds: uint8 (n * most,), positions: int64 (n * most,), in order of envelope, then of record; kind 0
    where there is no record; stopped: bool (n,), true where the walk met a kind of unknown size or
    a record that does not fit.
    """

    most: int
    kinds: np.ndarray
    positions: np.ndarray
    stopped: np.ndarray


def walk(data, starts, ends, sizes):
    """Find the records of all envelopes at once, the first of each, then the second of each, ...
    data: uint8; starts, ends: int64 (n,), where each envelope's records begin and end in data;
    sizes: see record_sizes.
    """
    longest = int((ends - starts).max(initial=0))
    most = longest // int(sizes[sizes > 0].min(initial=longest + 1)) + 1
    kinds = np.zeros((most, len(starts)), np.uint8)
    positions = np.empty((most, len(starts)), np.int64)
    stopped = np.zeros(len(starts), bool)
    sizes = np.where(sizes, sizes, longest + 1)  # an unknown kind fits nowhere
    active = np.flatnonzero(starts < ends)
    at, end = starts[active], ends[active]
    most = 0
    while len(active):
        kind = data.take(at)
        following = at + sizes.take(kind)
        going = following < end
        everyone = slice(None) if len(active) == len(starts) else active
        kinds[most, everyone], positions[most, everyone] = kind, at
        if not going.all():
            over = active[following > end]
            stopped[over] = True
            kinds[most, over] = 0
            active, following, end = active[going], following[going], end[going]
        at = following
        most += 1
    return Walk(most, kinds[:most].T.ravel(), positions[:most].T.ravel(), stopped)


class _Column:
    """An array that grows. Copying it often would cost more than finding what it holds, so it is given room
    for all that is to come if the rest of the source is like the part before.
    """

    def __init__(self, dtype):
        self._array = np.empty(0, dtype)
        self._used = 0

    def append(self, values, share):
        """share: which part of the source has been read, above 0, up to 1."""
        end = self._used + len(values)
        if end > len(self._array):
            # Memory that is never written to is not really taken.
            room = np.empty(int(end * min(1.1 / share, _ROOM_MAX)) + 1, self._array.dtype)
            room[:self._used] = self.values
            self._array = room
        self._array[self._used:end] = values
        self._used = end

    @property
    def values(self):
        """All values so far."""
        return self._array[:self._used]


class Gatherer:
    """Collects the records of one boot, batch by batch, into arrays by kind."""

    def __init__(self, kinds):
        self._kinds = kinds
        self._sizes = record_sizes(kinds)
        self._columns = {}
        self.unreadable = 0

    def add(self, data, starts, ends, base_ms, share=1.0, evidence=None):
        """A batch of envelopes in the boot's order. data: uint8, which may be used again afterwards;
        starts, ends: see walk; base_ms: int64 (n,), their base ticks, unwrapped; share: which part
        of all envelopes has come with this batch, as far as that is known; evidence: uint8 (n,), their
        levels of evidence, with every batch or with none.
        """
        found = walk(data, starts, ends, self._sizes)
        self.unreadable += int(found.stopped.sum())
        differences = overlapping(data[_DIFFERENCE_AT:], np.dtype("<i2"))
        for kind in self._kinds:
            chosen = np.flatnonzero(found.kinds == kind.number)
            if len(chosen):
                at = found.positions.take(chosen)
                if kind.number not in self._columns:
                    self._columns[kind.number] = _Column(np.int64), _Column(np.uint8), _Column(np.uint8)
                tick_ms, payload, levels = self._columns[kind.number]
                envelopes = chosen // found.most
                tick_ms.append(base_ms.take(envelopes) + differences[at], share)
                payload.append(_gather(data, at, kind.payload_size), share)
                if evidence is not None:
                    levels.append(evidence.take(envelopes), share)

    def finish(self):
        """Everything collected: dict of kind name to KindRecords, kinds without records left out."""
        records = {}
        for kind in self._kinds:
            if kind.number in self._columns:
                tick_ms, payload, levels = (column.values for column in self._columns[kind.number])
                values = payload.view(kind.dtype) if kind.payload_size else np.zeros(len(tick_ms), kind.dtype)
                evidence = levels if len(levels) else None
                records[kind.name] = in_order(KindRecords(kind, tick_ms, values, evidence))
        return records


def _gather(data, positions, size):
    """The payloads of the records at these positions, one after the other: uint8."""
    if not size:
        return np.empty(0, np.uint8)
    # As plain bytes, which numpy moves much faster than fields.
    return overlapping(data[_HEADER_SIZE:], np.dtype((np.void, size)))[positions].view(np.uint8)


def in_order(records):
    """The same records sorted stably by time."""
    if (records.tick_ms[1:] < records.tick_ms[:-1]).any():
        order = np.argsort(records.tick_ms, kind="stable")
        return KindRecords(
            records.layout, records.tick_ms[order], records.values[order], records.evidence[order]
        )
    return records
