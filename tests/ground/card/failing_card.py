"""A card with bad places, simulated where the bytes of a file are read."""

import errno

from ground.recover.readable import Readable

EIO = OSError(errno.EIO, "Input/output error")


class FailingCard:
    """Takes the place of Readable.read, for files of one name.

    bad: sectors (of 512 bytes) that never answer; weak: {sector: times that it fails}; gone_after: number
    of reads after which the card is out, with gone_error; short: largest read that is answered in full.
    """

    def __init__(self, monkeypatch, name, bad=(), weak=None, gone_after=None, gone_error=None, short=None):
        self.bad, self.weak = set(bad), dict(weak or {})
        self.gone_after, self.gone_error = gone_after, gone_error or EIO
        self.reads = []
        original = Readable._read

        def read(file, offset, view):
            if file.name != name:
                return original(file, offset, view)
            self.answer(offset, len(view))
            return original(file, offset, view[:short])

        monkeypatch.setattr(Readable, "_read", read)

    def answer(self, offset, length):
        """Raises OSError if this read fails."""
        self.reads.append((offset, length))
        if self.gone_after is not None and len(self.reads) > self.gone_after:
            raise self.gone_error
        sectors = range(offset // 512, -(-(offset + length) // 512))
        if not self.bad.isdisjoint(sectors):
            raise EIO
        failing = [sector for sector in self.weak if sector in sectors and self.weak[sector] > 0]
        for sector in failing:
            self.weak[sector] -= 1
        if failing:
            raise EIO
