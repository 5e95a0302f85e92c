"""Which number, boot and time a block at a given place of the log can have, by the whole blocks around it."""

from bisect import bisect_left, insort

import numpy as np

from ground.recover.arrays import picked
from protocol.tick import tick_difference

CANDIDATES_MAX = 1024  # numbers among which a CRC-32 may choose: chance then passes once in four million
# A block begins with the time of its first record; one that came late (a fix has the time of its first
# character) makes it older than the end of the block before.
SLACK_MS = 5000
_KNOWN = ("place", "number", "boot", "tick")


def data_index(place, depth, rate):
    """How many data places there are before a place (int or array): by so much a number can have risen."""
    if not depth * rate:
        return place
    stripe, within = place // (depth * (rate + 1)), place % (depth * (rate + 1))
    return stripe * (depth * rate) + np.minimum(within, depth * rate)


def place_of(index, depth, rate):
    """The data place before which there are so many others (int)."""
    if not depth * rate:
        return index
    return index // (depth * rate) * depth * (rate + 1) + index % (depth * rate)


class Row:
    """Blocks in order of place; may be added to. Each is known by (place, number, boot, tick)."""

    def __init__(self, headers):
        order = np.argsort(headers["place"], kind="stable")
        self._known = np.stack([headers[name] for name in _KNOWN], axis=1, dtype=np.int64)[order]
        self._places = np.ascontiguousarray(self._known[:, 0])  # a search would copy a column every time
        self._added = []

    def add(self, header):
        """Take in one more block."""
        insort(self._added, tuple(int(header[name]) for name in _KNOWN))

    def around(self, place):
        """The known blocks before and after a place: two tuples, None where there is none."""
        at, after = self._places.searchsorted(place), self._places.searchsorted(place, "right")
        before = [tuple(row) for row in self._known[max(0, at - 1):at].tolist()]
        behind = [tuple(row) for row in self._known[after:after + 1].tolist()]
        if self._added:
            at, after = bisect_left(self._added, (place,)), bisect_left(self._added, (place + 1,))
            before += self._added[max(0, at - 1):at]
            behind += self._added[after:after + 1]
        return max(before, default=None), min(behind, default=None)


class Neighbours:
    """The whole blocks of one flight. headers: of blocks with records, structured (n,)."""

    def __init__(self, headers):
        self._all = Row(headers)
        by_boot = picked(headers, np.argsort(headers["boot"], kind="stable"))
        edges = np.flatnonzero(np.diff(by_boot["boot"])) + 1
        self._boots = {int(part["boot"][0]): Row(part) for part in np.split(by_boot, edges) if len(part)}
        self._empty = headers[:0]

    def add(self, header):
        """Take in one more block, recovered meanwhile."""
        self._all.add(header)
        boot = int(header["boot"])
        if boot not in self._boots:
            self._boots[boot] = Row(self._empty)
        self._boots[boot].add(header)

    def agree(self, header):
        """True if boot and number of this header are possible at its place among the others.

        A number rises by one from data place to data place, by less where the card refused a sector.
        """
        return self._agree(header, self._around(header))

    def agree_in_time(self, header):
        """True if they agree, and the base tick lies between those of its boot's blocks around it; False if
        no block of the boot is known.
        """
        if int(header["boot"]) not in self._boots:
            return False
        before, after = around = self._around(header)
        tick = int(header["tick"])
        return self._agree(header, around) and (
            before is None or tick_difference(tick, before[3]) >= -SLACK_MS
        ) and (after is None or tick_difference(after[3], tick) >= -SLACK_MS)

    def _around(self, header):
        """The known blocks of its boot before and after it."""
        row = self._boots.get(int(header["boot"]))
        return row.around(int(header["place"])) if row else (None, None)

    def _agree(self, header, around):
        boot, number = int(header["boot"]), int(header["number"])
        before, after = self._all.around(int(header["place"]))
        if not _is_between(before and before[2], boot, after and after[2]):
            return False
        numbers = self._numbers(header, before, *around)
        return number in numbers and len(numbers) <= CANDIDATES_MAX

    @staticmethod
    def _numbers(header, before_all, before, after):
        depth, rate = int(header["depth"]), int(header["rate"])
        index = int(data_index(int(header["place"]), depth, rate))
        low, high = 0, index
        if before:
            low, high = before[1] + 1, before[1] + index - int(data_index(before[0], depth, rate))
        elif before_all:
            high = index - int(data_index(before_all[0], depth, rate)) - 1
        if after:
            low = max(low, after[1] - (int(data_index(after[0], depth, rate)) - index))
            high = min(high, after[1] - 1)
        return range(low, high + 1)


def _is_between(low, boot, high):
    if low is not None and high is not None and low > high:
        return True  # places do not rise with the boots: several cards
    return (low is None or boot >= low) and (high is None or boot <= high)
