"""A file or drive whose bytes are read by offset; nothing in here can write."""

import errno
import os
import stat
import struct
import sys
import time
from pathlib import Path

from ground.errors import LoftbookError

# Reads of a drive begin and end at multiples of this: no drive of today has larger sectors.
ALIGNMENT = 4096
_SETTLED_S = 60
# Darwin's ioctls for size (sys/disk.h: DKIOCGETBLOCKSIZE, DKIOCGETBLOCKCOUNT; from memory): a drive does
# not tell its size by seeking there.
_DARWIN_BLOCK_SIZE, _DARWIN_BLOCK_COUNT = 0x40046418, 0x40086419


class Readable:
    """The bytes of a regular file or block device, opened O_RDONLY. A context manager.

    path: of the file or device; direct: read a drive past the system's cache, where that is possible, so
    that a bad sector does not take its neighbours along; offsets and lengths are then whole sectors, and
    the memory is aligned to a page.
    name: last part of the path; size: bytes; is_drive: true for a block device.
    Raises LoftbookError if the path is missing, empty, a directory, or may not be read.
    """

    def __init__(self, path, direct=False):
        path = Path(path)
        self.path, self.name = path, path.name
        try:
            status = path.stat()
            mode = status.st_mode
            if stat.S_ISDIR(mode):
                raise LoftbookError(f"{path}: is a directory; name one log, capture or card image in it")
            if not (stat.S_ISREG(mode) or stat.S_ISBLK(mode)):
                raise LoftbookError(f"{path}: is neither a file nor a drive; copy it to a file first")
            self.is_drive = stat.S_ISBLK(mode)
            self._widens = self.is_drive and not direct
            self._file = _open(path, direct and self.is_drive)
            self.size = _size(self._file, self.is_drive)
            self._may_be_sparse = _may_be_sparse(status)
        except FileNotFoundError:
            raise LoftbookError(f"{path}: no such file; check the name") from None
        except PermissionError:
            raise LoftbookError(
                f"{path}: may not be read; check its permissions (a drive may need sudo)"
            ) from None
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or error
            message = f"{path}: cannot be opened ({reason}); check the name and the drive"
            raise LoftbookError(message) from None
        if self.size == 0:
            self.close()
            raise LoftbookError(f"{path}: is empty; there is nothing to recover")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def close(self):
        """Give the file back."""
        self._file.close()

    def hole(self, offset):
        """How many bytes from `offset` on were never written, as far as the file system tells: they are
        zeros, and need not be read.
        """
        if not self._may_be_sparse:
            return 0
        try:
            return min(os.lseek(self._file.fileno(), offset, os.SEEK_DATA), self.size) - offset
        except OSError as error:
            # No data behind; or no bytes any more, which reading will find out.
            ends = error.errno == errno.ENXIO and os.fstat(self._file.fileno()).st_size >= self.size
            return self.size - offset if ends else 0

    def read(self, offset, view):
        """Fill a writable memoryview from `offset` on, as far as there are bytes; returns how many.
        Raises OSError if any of them cannot be read.
        """
        if not self._widens or not (offset % ALIGNMENT or len(view) % ALIGNMENT):
            return self._read(offset, view)
        start = offset - offset % ALIGNMENT
        stop = min(offset + len(view) + -(offset + len(view)) % ALIGNMENT, self.size)
        wider = bytearray(max(0, stop - start))
        count = max(0, min(self._read(start, memoryview(wider)) - (offset - start), len(view)))
        view[:count] = wider[offset - start:offset - start + count]
        return count

    def _read(self, offset, view):
        self._file.seek(offset)
        done = 0
        while done < len(view):
            count = self._file.readinto(view[done:])
            if not count:
                break
            done += count
        return done


def _open(path, direct):
    def opener(name, flags):
        if direct and hasattr(os, "O_DIRECT"):
            try:
                return os.open(name, flags | os.O_DIRECT)
            except OSError as error:
                if isinstance(error, PermissionError):
                    raise
        return os.open(name, flags)

    return open(path, "rb", buffering=0, opener=opener)


def _may_be_sparse(status):
    """True if the file system may know of parts that were never written. Of files written a moment ago some
    file systems have told that wrongly, so these are read from end to end.
    """
    if not (stat.S_ISREG(status.st_mode) and hasattr(os, "SEEK_DATA") and hasattr(status, "st_blocks")):
        return False
    return status.st_blocks * 512 < status.st_size and time.time() - status.st_mtime > _SETTLED_S


def _size(file, is_drive):
    size = file.seek(0, os.SEEK_END)
    if size == 0 and is_drive and sys.platform == "darwin":
        from fcntl import ioctl  # not on every system

        block = struct.unpack("=I", ioctl(file.fileno(), _DARWIN_BLOCK_SIZE, bytes(4)))[0]
        size = block * struct.unpack("=Q", ioctl(file.fileno(), _DARWIN_BLOCK_COUNT, bytes(8)))[0]
    return size
