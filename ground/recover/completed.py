"""Putting the records of restored blocks among those that were gathered without them."""

import numpy as np

from ground.recover.evidence import PROVEN
from ground.recover.records import finished


class Completed:
    """The records of a filled Gatherer, completed by those of envelopes that had been missing in it. As a
    Gatherer, has `unreadable` and `finish`.

    gatherer, added: of the same kinds; envelopes: int64 (n,), ascending, before which envelope of `gatherer`
    each of `added` belongs. There the one has been marked, and all envelopes of the other.
    """

    def __init__(self, gatherer, added, envelopes):
        self._gatherer, self._added, self._envelopes = gatherer, added, envelopes
        self.unreadable = gatherer.unreadable + added.unreadable

    def finish(self):
        """See Gatherer.finish."""
        return finished(self._gatherer.kinds, self._columns)

    def _columns(self, number):
        ticks, payloads, _ = self._gatherer.columns(number)
        levels = np.full(len(ticks), PROVEN, np.uint8)
        added = self._added.columns(number)
        first = self._added.before(number, np.arange(len(self._envelopes) + 1))
        where = self._gatherer.before(number, self._envelopes).repeat(np.diff(first))
        return [np.insert(old, where, new) for old, new in zip((ticks, payloads, levels), added, strict=True)]
