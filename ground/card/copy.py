"""Copying a card, or a file, to an image with a map of what could not be read."""

import hashlib
import json
import os
import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from ground.card.image_map import CardMap, map_path
from ground.card.place import check_free, check_place
from ground.card.reading import BIG, RETRIES, SECTOR, CardReader, Gone
from ground.errors import LoftbookError
from ground.recover.readable import Readable


@dataclass(frozen=True)
class Copied:
    """map: the CardMap that was written; is_gone: true if the card stopped answering before all was tried."""

    map: CardMap
    is_gone: bool

    @property
    def unreadable_bytes(self):
        """Bytes of the image that are zeros because they could not be read."""
        return sum(length for _, length in self.map.unreadable)


def copy_card(device, image, say=lambda line: None, progress=lambda what, done, total: None):
    """Copy every byte of a device or file that can be read: Copied. The device is opened for reading only.

    device, image: Path. The image and, beside it, its map appear when all is done, or not at all.
    say: takes lines about what is done; progress: called as progress(what, bytes_done, bytes_in_all).
    Raises LoftbookError if the image may not be put there, or nothing of the device can be read.
    """
    with Readable(device, direct=True) as card:
        check_place(image, card)
        say(f"Reading {device}, {card.size} bytes. It is opened for reading only: nothing is written to it.")
        say(f"Writing {image}. Please wait; Ctrl-C stops, and leaves nothing behind.")
        with _new_files(image) as (file, map_file):
            copying = _Copying(card, file, say, progress)
            is_gone = copying.run()
            reader = copying.reader
            written = CardMap(str(device), card.size, copying.digest(), reader.unreadable, reader.retries)
            map_file.write(json.dumps(written.to_json(), indent=1).encode() + b"\n")
    return Copied(written, is_gone)


class _Copying:
    """One copy: the card read in big pieces, then what failed in small ones."""

    def __init__(self, card, file, say, progress):
        self._card, self._file, self._say, self._progress = card, file, say, progress
        self.reader = CardReader(card)
        self._hash = hashlib.sha256()
        self._failed = []  # stretches that the big reads left out
        self._tried = 0  # behind the last byte that was read in small pieces
        self._done = 0

    def run(self):
        """Copy everything; returns whether the card stopped answering before."""
        size = self._card.size
        self._file.truncate(size)
        at, is_gone = 0, False
        try:
            for at in range(0, size, BIG):
                self._big(at, min(BIG, size - at))
            at = size
            if self._failed:
                self._say(
                    f"{len(self._failed)} stretches could not be read at once. Trying each {RETRIES} times "
                    f"more, then in smaller pieces, down to one sector of {SECTOR} bytes."
                )
            for offset, length in self._failed:
                self._hard(offset, length)
        except Gone:
            is_gone = True
            self._give_up([*self._failed, (at, size - at)])
        if not self.reader.has_answered:
            raise LoftbookError(
                f"{self._card.path}: nothing of it can be read; try another card reader or port"
            )
        return is_gone

    def _big(self, offset, length):
        view = self.reader.read(offset, length)
        if view is None:
            self._failed.append((offset, length))
            return
        self._write(offset, view)
        if not self._failed:
            self._hash.update(view)

    def _hard(self, offset, length):
        before = self._done
        for start, view in self.reader.read_hard(offset, length):
            self._write(start, view)
            self._tried = start + len(view)
        self._tried = offset + length
        self._tell(before + length)

    def _write(self, offset, view):
        self._file.seek(offset)
        self._file.write(view)
        self._tell(self._done + len(view))

    def _tell(self, done):
        self._done = done
        self._progress("copying", done, self._card.size)

    def _give_up(self, stretches):
        """Of these, nothing behind what was tried in small pieces has been read."""
        noted = self.reader.unreadable
        tried = max(self._tried, sum(noted[-1]) if noted else 0)
        for offset, length in stretches:
            start = max(offset, tried)
            if start < offset + length:
                self.reader.give_up(start, offset + length - start)

    def digest(self):
        """SHA-256 of the image in hexadecimal. Where pieces came out of order, or are missing, the image is
        read back.
        """
        if self._failed or self.reader.unreadable:
            self._hash = hashlib.sha256()
            self._file.seek(0)
            done = 0
            while piece := self._file.read(BIG):
                self._hash.update(piece)
                done += len(piece)
                self._progress("checking", done, self._card.size)
        return self._hash.hexdigest()


@contextmanager
def _new_files(image):
    """Files, open for writing, that become the image and its map if the block ends without an error, and are
    gone if not. The map is there first, so that no image is ever without it.
    """
    names = []
    try:
        with _new_file(image, names) as file, _new_file(map_path(image), names) as map_file:
            yield file, map_file
            for item in (file, map_file):
                item.flush()
                os.fsync(item.fileno())
        check_free(image)
        image_name, map_name = names
        names.append(map_path(image))
        os.rename(map_name, map_path(image))
        os.rename(image_name, image)
        names.clear()
    except OSError as error:
        raise LoftbookError(
            f"{image}: cannot be written ({error.strerror or error}); choose a place with room and access"
        ) from None
    finally:
        for name in names:
            Path(name).unlink(missing_ok=True)


def _new_file(path, names):
    handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
    names.append(name)
    mask = os.umask(0)
    os.umask(mask)
    os.chmod(name, 0o666 & ~mask)  # mkstemp's file is closed to others
    return open(handle, "w+b")
