"""Reading a card that has bad places: big reads first, then ever smaller ones around what failed."""

import errno
import mmap

BIG = 1 << 20
SECTOR = 512
SMALLER = (1 << 16, 1 << 12, SECTOR)
RETRIES = 3
# In a bad stretch longer than this a sector is asked for once only: every failed read of a card takes long.
LONG_STRETCH = 1 << 16
_GONE = {errno.ENODEV, errno.ENXIO, getattr(errno, "ENOMEDIUM", errno.ENXIO)}


class Gone(Exception):
    """The card does not answer any more."""


class CardReader:
    """Reads the bytes of a Readable however often it fails.

    unreadable: (offset, length) of what could not be read, in order of reading; retries: how often
    something was asked for again.
    """

    def __init__(self, file):
        self._file = file
        # Reads past the system's cache need memory that is aligned to its pages.
        self._view = memoryview(mmap.mmap(-1, BIG))
        self._good = None
        self.unreadable = []
        self.retries = 0

    @property
    def has_answered(self):
        """True once anything could be read."""
        return self._good is not None

    def read(self, offset, length):
        """A memoryview of the bytes, valid until the next read; None if they cannot be read at once.
        length: up to BIG. Raises Gone if the card does not answer any more.
        """
        view = self._view[:length]
        try:
            done = self._file.read(offset, view)
        except OSError as error:
            if error.errno in _GONE:
                raise Gone from None
            done = 0
        if done == length:
            self._good = offset
            return view
        self._probe()
        return None

    def _probe(self):
        """Ask for a sector that could be read before: if it cannot any more, the card is gone."""
        if self._good is None:
            return
        for _ in range(1 + RETRIES):
            try:
                if self._file.read(self._good, self._view[:SECTOR]):
                    return
            except OSError:
                pass
        raise Gone

    def read_hard(self, offset, length):
        """Yield (offset, memoryview) of whatever of a failed read can still be had; what cannot is added
        to `unreadable`. Raises Gone as `read` does.
        """
        view = self._again(offset, length)
        if view is not None:
            yield offset, view
        else:
            yield from self._in_pieces(offset, length, SMALLER)

    def _again(self, offset, length):
        for _ in range(RETRIES):
            self.retries += 1
            view = self.read(offset, length)
            if view is not None:
                return view
        return None

    def _in_pieces(self, offset, length, sizes):
        for start in range(offset, offset + length, sizes[0]):
            count = min(sizes[0], offset + length - start)
            view = self.read(start, count)
            if view is None and len(sizes) > 1:
                yield from self._in_pieces(start, count, sizes[1:])
                continue
            if view is None and self._stretch_before(start) < LONG_STRETCH:
                view = self._again(start, count)
            if view is None:
                self.give_up(start, count)
            else:
                yield start, view

    def _stretch_before(self, offset):
        return self.unreadable[-1][1] if self.unreadable and sum(self.unreadable[-1]) == offset else 0

    def give_up(self, offset, length):
        """Note that bytes could not be read; they follow those noted before."""
        if self._stretch_before(offset):
            offset, before = self.unreadable.pop()
            length += before
        self.unreadable.append((offset, length))
