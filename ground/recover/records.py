"""Walking records in many envelopes at once, and gathering them kind by kind."""

from dataclasses import dataclass

import numpy as np

from ground.layout import RECORD_HEADER_DTYPE
from ground.recover.result import KindRecords
from ground.recover.search import overlapping

_ROOM_MAX = 16  # times as many records as came so far
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


class _Columns:
    """Arrays of all kinds, by kind number: ticks, payloads, levels of evidence, of which `used` are in use.

    Room is made for many records and for all kinds at once: a system hands out large pieces of memory much
    faster than small ones, and those parts that are never written to are not really taken.
    """

    def __init__(self, kinds):
        self._sizes = {kind.number: kind.payload_size for kind in kinds}
        self._room = dict.fromkeys(self._sizes, 0)
        self.used = dict.fromkeys(self._sizes, 0)
        self.ticks, self.payloads, self.levels = {}, {}, {}

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
        self._move(self.ticks, np.int64, dict.fromkeys(growing, 1))
        self._move(self.payloads, np.uint8, {number: self._sizes[number] for number in growing})
        self._move(self.levels, np.uint8, dict.fromkeys(growing, 1))

    def _move(self, columns, dtype, widths):
        memory = np.empty(sum(self._room[number] * width for number, width in widths.items()), dtype)
        at = 0
        for number, width in widths.items():
            end, used = at + self._room[number] * width, self.used[number] * width
            if used:
                memory[at:at + used] = columns[number][:used]
            columns[number], at = memory[at:end], end


class Gatherer:
    """Collects the records of one boot, batch by batch, into arrays by kind."""

    def __init__(self, kinds):
        self._kinds = kinds
        self._sizes = record_sizes(kinds)
        self._columns = _Columns(kinds)
        self._has_evidence = False
        self.unreadable = 0

    def add(self, data, starts, ends, base_ms, share=1.0, evidence=None):
        """A batch of envelopes in the boot's order. data: uint8, which may be used again afterwards;
        starts, ends: see walk; base_ms: int64 (n,), their base ticks, unwrapped; share: which part
        of all envelopes has come with this batch, as far as that is known; evidence: uint8 (n,), their
        levels of evidence, with every batch or with none.
        """
        found = walk(data, starts, ends, self._sizes)
        self.unreadable += int(found.stopped.sum())
        self._has_evidence = evidence is not None
        differences = overlapping(data[_DIFFERENCE_AT:], np.dtype("<i2"))
        chosen = {kind.number: np.flatnonzero(found.kinds == kind.number) for kind in self._kinds}
        columns = self._columns
        columns.make_room({number: len(places) for number, places in chosen.items() if len(places)}, share)
        for kind in self._kinds:
            number, places = kind.number, chosen[kind.number]
            if not len(places):
                continue
            first, last = columns.used[number], columns.used[number] + len(places)
            at, envelopes = found.positions.take(places), places // found.most
            np.add(base_ms.take(envelopes), differences[at], out=columns.ticks[number][first:last])
            size = kind.payload_size
            columns.payloads[number][first * size:last * size] = _gather(data, at, size)
            if evidence is not None:
                columns.levels[number][first:last] = evidence.take(envelopes)
            columns.used[number] = last

    def finish(self):
        """Everything collected: dict of kind name to KindRecords, kinds without records left out."""
        records = {}
        for kind in self._kinds:
            count, size = self._columns.used[kind.number], kind.payload_size
            if count:
                values = self._columns.payloads[kind.number][:count * size]
                values = values.view(kind.dtype) if size else np.zeros(count, kind.dtype)
                evidence = self._columns.levels[kind.number][:count] if self._has_evidence else None
                tick_ms = self._columns.ticks[kind.number][:count]
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
