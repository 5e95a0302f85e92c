"""Walking records in many envelopes at once, and gathering them kind by kind."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from ground.layout import RECORD_HEADER_DTYPE
from ground.recover.result import KindRecords
from ground.recover.search import overlapping

_ROOM_MAX = 64  # times as many records as came so far
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
    sizes = np.where(sizes, sizes, longest + 1)  # an unknown kind fits nowhere
    most = longest // int(sizes.min()) + 1
    kinds = np.empty((most, len(starts)), np.uint8)
    positions = np.empty((most + 1, len(starts)), np.int64)
    positions[0] = starts
    most = 0
    # Where an envelope has ended, whatever follows is walked and left out afterwards: that takes less time
    # than picking out those that go on.
    for at, kind, following in zip(positions, kinds, positions[1:], strict=False):
        if not np.count_nonzero(at < ends):
            break
        data.take(at, out=kind, mode="clip")
        np.add(at, sizes.take(kind), out=following)
        most += 1
    fits = positions[1:most + 1] <= ends
    kinds = kinds[:most] * fits.view(np.uint8)
    last = positions[np.count_nonzero(fits, axis=0), np.arange(len(starts))]
    return Walk(most, kinds.T.ravel(), positions[:most].T.ravel(), last < ends)


class _Columns:
    """Arrays of all kinds, by kind number: ticks, payloads, levels of evidence, of which `used` are in use.

    Room is made for many records and for all kinds at once: a system hands out large pieces of memory much
    faster than small ones, and those parts that are never written to are not really taken.
    """

    def __init__(self, kinds):
        self._payload = {kind.number: np.dtype((np.void, kind.payload_size)) for kind in kinds}
        self._room = dict.fromkeys(self._payload, 0)
        self.used = dict.fromkeys(self._payload, 0)
        self.ticks = dict.fromkeys(self._payload, np.empty(0, np.int64))
        self.payloads = {number: np.empty(0, dtype) for number, dtype in self._payload.items()}
        self.levels = dict.fromkeys(self._payload, np.empty(0, np.uint8))

    def make_room(self, counts, share):
        """For so many more records (kind number to count). share: which part of the source has been read; the
        rest is expected to be like it.
        """
        wanted = {number: self.used[number] + count for number, count in counts.items()}
        if all(count <= self._room[number] for number, count in wanted.items()):
            return
        growing = [number for number, count in wanted.items() if count > share * self._room[number]]
        for number in growing:
            self._room[number] = int(wanted[number] * min(1.1 / share, _ROOM_MAX)) + 1
        self._move(self.ticks, dict.fromkeys(growing, np.dtype(np.int64)))
        self._move(self.payloads, {number: self._payload[number] for number in growing})
        self._move(self.levels, dict.fromkeys(growing, np.dtype(np.uint8)))

    def _move(self, columns, dtypes):
        sizes = [self._room[number] * dtype.itemsize for number, dtype in dtypes.items()]
        memory, at = np.empty(sum(sizes), np.uint8), 0
        for number, dtype in dtypes.items():
            room, used = self._room[number], self.used[number]
            column = np.ndarray(room, dtype, memory, at)
            column[:used] = columns[number][:used]
            columns[number], at = column, at + room * dtype.itemsize


class Gatherer:
    """Collects the records of one boot, batch by batch, into arrays by kind."""

    def __init__(self, kinds):
        self.kinds = kinds
        self._sizes = record_sizes(kinds)
        self._columns = _Columns(kinds)
        self._has_evidence = False
        self._envelopes = 0
        self._marked = []
        self._counts = {kind.number: [] for kind in kinds}
        self.unreadable = 0
        _keep_memory()

    def add(self, data, starts, ends, base_ms, share=1.0, evidence=None, marked=()):
        """A batch of envelopes in the boot's order. data: uint8, which may be used again afterwards;
        starts, ends: see walk; base_ms: int64 (n,), their base ticks, unwrapped; share: which part
        of all envelopes has come with this batch, as far as that is known; evidence: uint8 (n,), their
        levels of evidence, with every batch or with none; marked: indices in the batch, see `before`.
        """
        found = walk(data, starts, ends, self._sizes)
        self.unreadable += int(found.stopped.sum())
        self._has_evidence = evidence is not None
        chosen = {kind.number: np.flatnonzero(found.kinds == kind.number) for kind in self.kinds}
        columns = self._columns
        columns.make_room({number: len(places) for number, places in chosen.items() if len(places)}, share)
        if len(marked):
            self._mark(marked, {
                number: np.searchsorted(places, marked * found.most) for number, places in chosen.items()
            })
        base_ms = base_ms.repeat(found.most)
        for number, places in chosen.items():
            if not len(places):
                continue
            first, last = columns.used[number], columns.used[number] + len(places)
            records = _gather(data, found.positions.take(places), int(self._sizes[number]))
            np.add(base_ms.take(places), records["difference"], out=columns.ticks[number][first:last])
            columns.payloads[number][first:last] = records["payload"]
            if evidence is not None:
                columns.levels[number][first:last] = evidence.take(places // found.most)
            columns.used[number] = last
        self._envelopes += len(starts)

    def _mark(self, marked, counts):
        self._marked.append(self._envelopes + marked)
        for number, count in counts.items():
            self._counts[number].append(self._columns.used[number] + count)

    def before(self, number, envelopes):
        """How many records of a kind came before the envelopes of these indices: all of them marked, or the
        end.
        """
        marked = np.concatenate([*self._marked, [self._envelopes]])
        counts = np.concatenate([*self._counts[number], [self._columns.used[number]]])
        return counts[np.searchsorted(marked, envelopes)]

    def columns(self, number):
        """(ticks, payloads as plain bytes, levels of evidence or None) of the records of one kind."""
        used, columns = self._columns.used[number], self._columns
        levels = columns.levels[number][:used] if self._has_evidence else None
        return columns.ticks[number][:used], columns.payloads[number][:used], levels

    def finish(self):
        """Everything collected: dict of kind name to KindRecords, kinds without records left out."""
        return finished(self.kinds, self.columns)


def finished(kinds, columns):
    """Dict of kind name to KindRecords, kinds without records left out. columns: see Gatherer.columns."""
    records = {}
    for kind in kinds:
        tick_ms, payloads, levels = columns(kind.number)
        if len(tick_ms):
            values = payloads.view(kind.dtype) if kind.payload_size else np.zeros(len(tick_ms), kind.dtype)
            records[kind.name] = in_order(KindRecords(kind, tick_ms, values, levels))
    return records


def _gather(data, positions, size):
    """The records of this size at these positions, one after the other: structured."""
    # As plain bytes, which numpy moves much faster than fields.
    records = overlapping(data, np.dtype((np.void, size)))[positions]
    return records.view([*RECORD_HEADER_DTYPE.descr, ("payload", np.void, size - _HEADER_SIZE)])


@cache
def _keep_memory():
    # The GNU C library gives every large array back to the system and asks for the next one again, until a
    # still larger one has been given back: from then on it keeps them (mallopt(3), M_MMAP_THRESHOLD).
    np.empty(1 << 24, np.uint8)


def differences(data, positions):
    """The differences of time of the records at these positions: int16."""
    return overlapping(data[_DIFFERENCE_AT:], np.dtype("<i2"))[positions]


def in_order(records):
    """The same records sorted stably by time."""
    if (records.tick_ms[1:] < records.tick_ms[:-1]).any():
        order = np.argsort(records.tick_ms, kind="stable")
        return KindRecords(
            records.layout, records.tick_ms[order], records.values[order], records.evidence[order]
        )
    return records
