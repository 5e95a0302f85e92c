"""Several sources of one flight, seen as one: each at its own place in one row of bytes."""

from bisect import bisect_right
from dataclasses import replace

import numpy as np

from ground.recover.arrays import joined
from ground.recover.block_series import CONFLICT
from ground.recover.blocks import FOUND_DTYPE
from ground.recover.headers import boot_keys, flight_name, flight_words

_APART = 1 << 20  # no block, and no row of blocks, goes on from one source to the next
CONFLICTS_TOLD = 10


class Joint:
    """Gives each Scan its base, in order, and reads any of their bytes.

    found: the whole blocks of all scans, array of FOUND_DTYPE with joint offsets.
    """

    def __init__(self, scans):
        self.scans = scans
        self._bases = []
        base = 0
        for item in scans:
            item.base = base
            self._bases.append(base)
            base += -(-item.source.size // _APART) * _APART + _APART
        self.found = joined([_moved(item) for item in scans], FOUND_DTYPE)

    def locate(self, offset):
        """(scan, offset in its source) of a joint offset."""
        item = self.scans[bisect_right(self._bases, offset) - 1]
        return item, offset - item.base

    def read_into(self, offset, view):
        """As Source.read_into, of bytes that lie in one source."""
        item, offset = self.locate(offset)
        item.source.read_into(offset, view)

    def gathered(self, blocks, base_ms):
        """See EarlyRecords.gatherer_of; blocks that lie in several sources were not gathered together."""
        item, _ = self.locate(int(blocks["offset"][0]))
        return item.early.gatherer_of(blocks, blocks["offset"] - item.base, base_ms)

    def of_each(self, values):
        """Split an array with a value for each of `found` into one for each scan."""
        return np.split(values, np.cumsum([len(item.found) for item in self.scans])[:-1])

    def place(self, offset):
        """A joint offset in words."""
        item, offset = self.locate(offset)
        return f"{item.source.name} byte {offset}" if len(self.scans) > 1 else f"byte {offset}"

    def moved(self, ranges):
        """Ranges with joint offsets, as a list of ranges for each scan, with offsets in its source."""
        lists = [[] for _ in self.scans]
        for item in ranges:
            index = bisect_right(self._bases, item.offset) - 1
            lists[index].append(replace(item, offset=item.offset - self._bases[index]))
        return lists


def _moved(item):
    found = item.found.copy() if item.base else item.found
    found["offset"] += item.base
    return found


def conflict_notes(joint, roles):
    """A line for each whole block that contradicts another of its number, with both places."""
    found = joint.found
    keys, numbers = boot_keys(found["header"]), found["header"]["number"]
    wrong = np.flatnonzero(roles == CONFLICT)
    notes = []
    for index in wrong[:CONFLICTS_TOLD].tolist():
        first = np.flatnonzero((keys == keys[index]) & (numbers == numbers[index]))[0]
        headers = found["header"][index:index + 1]
        notes.append(contradiction(
            f"flight {flight_name(flight_words(headers)[0])} boot {headers['boot'][0]} "
            f"block {numbers[index]}",
            joint, int(found["offset"][first]), int(found["offset"][index]),
        ))
    if len(wrong) > CONFLICTS_TOLD:
        notes.append(f"{len(wrong) - CONFLICTS_TOLD} more blocks contradict each other like these")
    return notes


def contradiction(what, joint, first, second):
    """The line about two envelopes, at joint offsets, that should be the same."""
    return (
        f"{what}: {joint.place(first)} and {joint.place(second)} hold different bytes, both with a right "
        "check sum; the first is used"
    )
