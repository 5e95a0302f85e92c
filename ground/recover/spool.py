"""Pieces of a stream that will be read again, kept in a temporary file."""

import tempfile
from array import array
from bisect import bisect_right

from ground.errors import LoftbookError

_MEMORY_MAX = 1 << 24  # so many bytes stay in memory; more go to a file without a name


class Spool:
    """Keeps pieces by their offset in the stream. A context manager.

    end: offset behind the last byte that was kept; size: bytes kept.
    """

    def __init__(self):
        self._file = tempfile.SpooledTemporaryFile(max_size=_MEMORY_MAX)
        self._starts, self._places = array("q"), array("q")  # of each piece, in the stream and in the file
        self.end = self.size = 0

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._file.close()

    def keep(self, offset, data):
        """Take the bytes that stand at an offset; pieces come in ascending order and may overlap.
        Raises LoftbookError if there is no room for them.
        """
        data = data[max(0, self.end - offset):]
        if not len(data):
            return
        offset = max(offset, self.end)
        if offset > self.end or not self._starts:
            self._starts.append(offset)
            self._places.append(self.size)
        try:
            self._file.seek(self.size)
            self._file.write(data)
        except OSError as error:
            raise LoftbookError(
                f"{tempfile.gettempdir()}: cannot keep what was found in a compressed source "
                f"({error.strerror or error}); make room there, or expand the source first"
            ) from None
        self.end, self.size = offset + len(data), self.size + len(data)

    def read_into(self, offset, view):
        """Fill a writable memoryview from `offset` on; what was not kept is seen as zeros."""
        view[:] = bytes(len(view))
        index = max(0, bisect_right(self._starts, offset) - 1)
        while index < len(self._starts) and self._starts[index] < offset + len(view):
            start, place = self._starts[index], self._places[index]
            stop = self._places[index + 1] if index + 1 < len(self._places) else self.size
            first, last = max(start, offset), min(start + stop - place, offset + len(view))
            if first < last:
                self._file.seek(place + first - start)
                view[first - offset:last - offset] = self._file.read(last - first)
            index += 1
