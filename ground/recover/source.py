"""A source of recovery (a file or a drive), opened for reading only and read window by window."""

import os
import stat
from pathlib import Path

from ground.errors import LoftbookError

WINDOW_SIZE = 1 << 20
# A window shows this much of the next one, so that whatever begins in it can be judged whole:
# a damaged block and the block that may begin inside it.
WINDOW_OVERLAP = 1024
_RETRY_SIZE = 4096


class Source:
    """Read-only access to the bytes of a regular file or block device. A context manager.
    name: last part of the path; size: bytes; unreadable: (offset, length) of pieces whose
    reading failed, which are seen as zeros.
    Raises LoftbookError if the path is missing, empty, a directory, or may not be read.
    """

    def __init__(self, path):
        path = Path(path)
        self.name = path.name
        self.unreadable = []
        try:
            mode = path.stat().st_mode
            if stat.S_ISDIR(mode):
                raise LoftbookError(f"{path}: is a directory; name one log, capture or card image in it")
            if not (stat.S_ISREG(mode) or stat.S_ISBLK(mode)):
                raise LoftbookError(f"{path}: is neither a file nor a drive; copy it to a file first")
            self._file = open(path, "rb", buffering=0)
            self.size = self._file.seek(0, os.SEEK_END)
        except FileNotFoundError:
            raise LoftbookError(f"{path}: no such file; check the name") from None
        except PermissionError:
            raise LoftbookError(f"{path}: may not be read; check its permissions") from None
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or error
            message = f"{path}: cannot be opened ({reason}); check the name and the drive"
            raise LoftbookError(message) from None
        if self.size == 0:
            self._file.close()
            raise LoftbookError(f"{path}: is empty; there is nothing to recover")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._file.close()

    def read_into(self, offset, view):
        """Fill a writable memoryview from `offset` on. What cannot be read becomes zeros and is
        noted in `unreadable`: a cracked card must not end the reading of its good parts.
        """
        try:
            done = self._read(offset, view)
        except OSError:
            done = 0
            if len(view) > _RETRY_SIZE:
                for start in range(0, len(view), _RETRY_SIZE):
                    self.read_into(offset + start, view[start:start + _RETRY_SIZE])
                return
        if done < len(view):
            view[done:] = bytes(len(view) - done)
            self._note_unreadable(offset + done, len(view) - done)

    def _note_unreadable(self, offset, length):
        if self.unreadable and sum(self.unreadable[-1]) == offset:
            offset, before = self.unreadable.pop()
            length += before
        self.unreadable.append((offset, length))

    def _read(self, offset, view):
        self._file.seek(offset)
        done = 0
        while done < len(view):
            count = self._file.readinto(view[done:])
            if not count:
                break
            done += count
        return done

    def windows(self):
        """Yield (offset, view, own): a memoryview of the bytes from `offset` on, the first `own`
        of which belong to this window and the rest to the next. The view is used again.
        """
        buffer = bytearray(WINDOW_SIZE + WINDOW_OVERLAP)
        view = memoryview(buffer)
        have = 0
        for offset in range(0, self.size, WINDOW_SIZE):
            want = min(len(buffer), self.size - offset)
            self.read_into(offset + have, view[have:want])
            yield offset, view[:want], min(WINDOW_SIZE, want)
            have = max(0, want - WINDOW_SIZE)
            view[:have] = view[WINDOW_SIZE:WINDOW_SIZE + have]
