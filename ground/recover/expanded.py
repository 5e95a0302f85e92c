"""A compressed source, read once as a stream; what is needed twice is kept aside."""

from ground.card.image_map import mapped_places
from ground.errors import LoftbookError
from ground.recover.expand import Broken, Input, compression_of, expand
from ground.recover.ledger import CHECK_SUM, WRONG
from ground.recover.readable import Readable
from ground.recover.source import WINDOW_OVERLAP, WINDOW_SIZE, Source
from ground.recover.spool import Spool
from protocol.block import BLOCK_SIZE

EXPANDED_MAX = 1 << 41  # bytes: 2 TiB, the largest SDXC card (SD Association; from memory)

# Blocks, packets and other places that a compressed source may expand to: more than any flight has. So a
# few bytes that were made to expand without end cannot fill memory or disk.
PIECES_MAX = 1 << 18


def open_source(path):
    """The Source of a path: a compressed file, known by its first bytes, is expanded while it is read.
    Raises LoftbookError if the path is missing, empty, a directory, or may not be read.
    """
    with Readable(path) as file:
        head = bytearray(4)
        try:
            count = 0 if file.is_drive else file.read(0, memoryview(head))
        except OSError:
            count = 0
    compression = compression_of(bytes(head[:count]))
    return ExpandedSource(path, compression) if compression else Source(path)


class ExpandedSource:
    """The contents of a compressed file, with the interface of a Source; offsets and size are those of the
    contents. size: known after the last window. Of its bytes only what was kept can be read again.
    """

    def __init__(self, path, compression):
        self._path, self._compression = path, compression
        self._file = Readable(path)
        self.name = self._file.name
        self.total = self._file.size
        self.size = EXPANDED_MAX
        self.notes = []
        self.facts = {"compression": compression, "file_size": self.total}
        self.broken = self.rest = None
        self._stopped = None
        self._spool = Spool()
        self._input = Input(_InOrder(self._file))

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._file.close()
        self._spool.__exit__()

    @property
    def position(self):
        """Bytes of the file read so far, of `total`."""
        return self._input.position

    def limit(self, pieces):
        """Let the source end here if it grew beyond reason. pieces: packets and other places found in it,
        beside what was kept.
        """
        if self._spool.size // BLOCK_SIZE + pieces > PIECES_MAX:
            self._stopped = f"holds more than {PIECES_MAX} blocks and other places; expand it first"

    def windows(self):
        """See Source.windows."""
        stream = _Stream(self._until_it_breaks())
        view = memoryview(bytearray(WINDOW_SIZE + WINDOW_OVERLAP))
        offset, have = 0, stream.fill(view)
        while have:
            own = min(WINDOW_SIZE, have)
            yield offset, view[:have], own
            rest = have - own
            view[:rest] = view[own:have]
            offset, have = offset + own, rest + stream.fill(view[rest:])
        self.size = offset
        if not offset and not self.broken:
            raise LoftbookError(f"{self._path}: expands to nothing; there is nothing to recover")

    def _until_it_breaks(self):
        made = 0
        try:
            for piece in expand(self._compression, self._input, self._note):
                yield piece
                made += len(piece)
                if made >= EXPANDED_MAX:
                    self._stopped = f"expands to more than {EXPANDED_MAX} bytes, which no card holds"
                if self._stopped:
                    raise Broken(self._stopped)
        except Broken as broken:
            self.broken, self.rest = str(broken), broken.rest

    def _note(self, state):
        if self.facts.get(CHECK_SUM) == WRONG:
            return  # of several, one that is wrong says it all
        self.facts[CHECK_SUM] = state
        self.notes.append(f"the check sum of the {self._compression} compression is {state}")

    def unreadable(self):
        """See Source.unreadable."""
        is_cut_off = self.broken is not None
        return mapped_places(self._file.path, self.size, self.notes, self.facts, is_cut_off)

    def keep(self, offset, data):
        """A piece of a window that will be read again. Raises LoftbookError if there is no room for it."""
        self._spool.keep(offset, data)

    def read_into(self, offset, view):
        """Fill a writable memoryview from `offset` on with what was kept; the rest is seen as zeros."""
        self._spool.read_into(offset, view)

    def again(self):
        """What reads any bytes once more, in ascending order: has `read_into`."""
        return _Stream(expand(self._compression, Input(_InOrder(self._file)), lambda _: None))


class _InOrder:
    """Reads a Readable from its start."""

    def __init__(self, file):
        self._file, self._at = file, 0

    def read(self, count):
        data = bytearray(count)
        done = self._file.read(self._at, memoryview(data))
        self._at += done
        return bytes(data[:done])


class _Stream:
    """Puts together the pieces that an expansion yields."""

    def __init__(self, pieces):
        self._pieces = pieces
        self._left = memoryview(b"")
        self._at = 0

    def fill(self, view):
        """Fill a writable memoryview with the next bytes; returns how many, fewer at the end."""
        done = 0
        while done < len(view):
            if not self._left and not self._next():
                break
            count = min(len(self._left), len(view) - done)
            view[done:done + count] = self._left[:count]
            self._left = self._left[count:]
            done += count
        self._at += done
        return done

    def read_into(self, offset, view):
        """Go on to an offset and fill the view from there; what is beyond the end is seen as zeros."""
        while self._at < offset and (self._left or self._next()):
            count = min(len(self._left), offset - self._at)
            self._left = self._left[count:]
            self._at += count
        done = self.fill(view) if self._at == offset else 0
        view[done:] = bytes(len(view) - done)

    def _next(self):
        """Fetch a piece that is not empty; False at the end."""
        while not self._left:
            try:
                self._left = memoryview(next(self._pieces))
            except (StopIteration, Broken):
                return False
        return True
