"""Decoding blocks while the window of the source in which they were proven is still in memory.

On nearly every card the blocks of a boot stand in the order of their numbers, and their kinds are those of
this program's table. Then nothing has to be read and proven again. Where it is otherwise, `block_series`
does that.
"""

import numpy as np

from ground.layout import OWN_KINDS
from ground.recover.arrays import chosen
from ground.recover.block_series import bytes_used
from ground.recover.headers import boot_keys, is_decoded
from ground.recover.records import Gatherer
from ground.recover.series import unwrapped
from protocol.block import BLOCK_FIRST


class EarlyRecords:
    """Takes the whole blocks of a source window by window. size: bytes of the source."""

    def __init__(self, size):
        self._size = size
        self._boots = {}

    def add(self, offset, view, blocks):
        """blocks: array of FOUND_DTYPE, found in the window (memoryview) that stands at this offset."""
        if not len(blocks):
            return
        data = np.frombuffer(view, np.uint8)
        share = (offset + len(view)) / self._size
        blocks = chosen(blocks, is_decoded(blocks["header"]))
        keys = boot_keys(blocks["header"])
        for key in np.unique(keys).tolist():
            boot = self._boots.get(key) or self._boots.setdefault(key, _Boot())
            boot.add(data, offset, chosen(blocks, keys == key), share)

    def gatherer_of(self, blocks, offsets, base_ms):
        """The filled Gatherer of one boot, if exactly these blocks came, in this order; otherwise None.
        blocks: FOUND_DTYPE (n,); offsets: theirs in the source; base_ms: their base ticks.
        """
        decoded = is_decoded(blocks["header"])
        boot = self._boots.get(int(boot_keys(blocks["header"][:1])[0]))
        return boot.gatherer if boot and boot.holds(offsets[decoded], base_ms[decoded]) else None


class _Boot:
    """The blocks of one boot in the order in which they stand."""

    def __init__(self):
        self.gatherer = Gatherer(OWN_KINDS)
        self._offsets, self._base_ms = [], [np.empty(0, np.int64)]
        self._last_number = -1

    def add(self, data, offset, blocks, share):
        headers = blocks["header"]
        last = self._base_ms[-1][-1:]
        base_ms = unwrapped(np.concatenate([last, headers["tick"]]))[len(last):]
        starts = blocks["offset"] - offset + BLOCK_FIRST
        numbers = headers["number"].astype(np.int64)
        # Where numbers are missing, blocks may be restored.
        marked = np.flatnonzero(np.diff(numbers, prepend=self._last_number) != 1)
        self.gatherer.add(data, starts, starts + bytes_used(headers), base_ms, share, marked=marked)
        self._last_number = numbers[-1]
        self._offsets.append(blocks["offset"])
        self._base_ms.append(base_ms)

    def holds(self, offsets, base_ms):
        """True if these are the blocks, in this order, and their ticks were unwrapped to the same."""
        return (
            np.array_equal(np.concatenate(self._offsets), offsets)
            and np.array_equal(np.concatenate(self._base_ms), base_ms)
        )
