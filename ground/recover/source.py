"""A source of recovery (a file or a drive), opened for reading only and read window by window."""

from ground.card.image_map import mapped_places
from ground.recover.readable import ALIGNMENT, Readable

WINDOW_SIZE = 1 << 20
# A window shows this much of the next one, so that whatever begins in it can be judged whole:
# a damaged block and the block that may begin inside it.
WINDOW_OVERLAP = 1024


class Source:
    """Read-only access to the bytes of a regular file or block device. A context manager.

    name: last part of the path; size: bytes; position: bytes read so far in order, of total;
    notes, facts: for the ledger; broken: why the source goes on beyond `size` but cannot be read there
    (None if it does not); rest: how many bytes that are, if known.
    Raises LoftbookError if the path is missing, empty, a directory, or may not be read.
    """

    broken = None
    rest = None

    def __init__(self, path):
        self._file = Readable(path)
        self.name, self.size = self._file.name, self._file.size
        self.position, self.total = 0, self.size
        self.notes, self.facts = [], {}
        self._failed = []

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._file.close()

    def unreadable(self):
        """List of (offset, length), in order: pieces whose reading failed, now or when a card was copied
        to this image; they are seen as zeros. To be asked for after the last window.
        """
        known = []
        if not self._file.is_drive:
            known = mapped_places(self._file.path, self.size, self.notes, self.facts)
        return sorted([*self._failed, *known])

    def read_into(self, offset, view):
        """Fill a writable memoryview from `offset` on. What cannot be read becomes zeros and is
        noted in `unreadable`: a cracked card must not end the reading of its good parts.
        """
        try:
            done = self._file.read(offset, view)
        except OSError:
            done = 0
            first = ALIGNMENT - offset % ALIGNMENT
            if len(view) > first:
                for start in [0, *range(first, len(view), ALIGNMENT)]:
                    stop = start + ALIGNMENT - (offset + start) % ALIGNMENT
                    self.read_into(offset + start, view[start:stop])
                return
        if done < len(view):
            view[done:] = bytes(len(view) - done)
            self._note_unreadable(offset + done, len(view) - done)

    def _note_unreadable(self, offset, length):
        if self._failed and sum(self._failed[-1]) == offset:
            offset, before = self._failed.pop()
            length += before
        self._failed.append((offset, length))

    def windows(self):
        """Yield (offset, view, own): a memoryview of the bytes from `offset` on, the first `own`
        of which belong to this window and the rest to the next. The view is used again. It is None where
        neither `own` bytes nor those behind that it would show were ever written: they are zeros.
        """
        buffer = bytearray(WINDOW_SIZE + WINDOW_OVERLAP)
        view = memoryview(buffer)
        offset = have = 0
        while offset < self.size:
            own = self._never_written(offset)
            if own:
                self.position = offset + own
                yield offset, None, own
                have = 0
            else:
                want = min(len(buffer), self.size - offset)
                own = min(WINDOW_SIZE, want)
                self.read_into(offset + have, view[have:want])
                self.position = offset + own
                yield offset, view[:want], own
                have = want - own
                view[:have] = view[own:want]
            offset += own

    def _never_written(self, offset):
        """Bytes from `offset` on that need not be read, in whole windows."""
        length = self._file.hole(offset)
        if offset + length == self.size:
            return length
        return max(0, length - WINDOW_OVERLAP) // WINDOW_SIZE * WINDOW_SIZE

    def keep(self, offset, data):
        """A piece of a window that will be read again; a file or drive can simply be asked for it."""

    def limit(self, pieces):
        """Places found so far; a file or drive cannot grow beyond its size."""

    def again(self):
        """What reads any bytes once more, in ascending order: has `read_into`."""
        return self
