# Where the log goes: a file of fixed size, LOFTBOOK.LOG, made in one piece on a freshly formatted
# card. The logger asks the file system once where that file lies and then writes its sectors
# directly: the file system's own structures never change in flight, so no power cut can break them.

from protocol.block import BLOCK_MAGIC, BLOCK_SIZE, FLAG_PARITY, is_whole
from protocol.constant import const

_FLAGS = const(5)  # offset of the flags in a block
_NEIGHBOURS = const(4)  # sectors that are asked, one after the other, in place of one that cannot be read
_LOOK_AHEAD = const(64)  # sectors behind the supposed end that are checked for later blocks
_LOOK_BACK = const(2048)  # sectors before it in which a whole block of the flight is looked for


def has(buffer, offset, expected):
    """True if these bytes stand in the buffer from offset on."""
    for i in range(len(expected)):
        if buffer[offset + i] != expected[i]:
            return False
    return True


class LogRegion:
    """The sectors of the log file on a block device.

    card: an object with readblocks(number, buffer) and writeblocks(number, buffer), 512 bytes a block.
    is_later: the log is looked for later, by `find`. Else this raises CardError, an OSError, if there is no log file,
    or if it does not lie in one piece.
    """

    def __init__(self, card, is_later=False):
        self._card = card
        self._sector = bytearray(BLOCK_SIZE)
        self._held = -1  # number of the sector that is held; a chain of clusters asks for the same one often
        self.start = self.count = self.next = 0
        if not is_later:
            self.start, self.count = self._find()

    def find(self):
        """Find the log file. A generator, since it may take seconds: each step takes little time. Raises CardError."""
        from onboard.firmware.volume import Volume  # let go after the boot

        self.start, self.count = yield from Volume(self._read).find_log()

    def _find(self):
        for _ in self.find():
            pass
        return self.start, self.count

    def _read(self, number):
        if number != self._held:
            self._held = -1
            self._card.readblocks(number, self._sector)
            self._held = number
        return self._sector

    def _is_written(self, index):
        # Raises OSError if the sector cannot be read, also at a second try.
        if index >= self.count:
            return False
        try:
            sector = self._read(self.start + index)
        except OSError:
            sector = self._read(self.start + index)
        return has(sector, 0, BLOCK_MAGIC)

    def _readable(self, index):
        # The sector at this index, or None if it is dead. A card that fails as a whole must not pass for dead
        # sectors, or the flight would begin anew: so after a failure the card's first sector has to come.
        for _ in range(2):
            try:
                return self._read(self.start + index)
            except OSError:
                self._read(0)
        return None

    def _seems_written(self, index):
        # A sector that cannot be read tells nothing; its neighbours behind it do.
        for near in range(index, min(index + _NEIGHBOURS, self.count)):
            sector = self._readable(near)
            if sector is not None:
                return has(sector, 0, BLOCK_MAGIC)
        return False

    def _search(self, low):
        # The first index from low on that is not written, if all before it are.
        high = self.count
        steps = 0
        while low < high:
            middle = (low + high) // 2
            if self._seems_written(middle) or self._seems_written(middle + 1):
                low = middle + 1
            else:
                high = middle
            steps += 1
            if steps % 8 == 0:
                yield True
        return low

    def _later(self, low):
        # A written index from low on, -1 if none is seen: every sector near, then ever larger strides.
        for index in range(low, min(low + _LOOK_AHEAD, self.count)):
            if self._seems_written(index):
                return index
            if index % 16 == 0:
                yield True
        stride = _LOOK_AHEAD
        while low + stride < self.count:
            if self._seems_written(low + stride):
                return low + stride
            stride += stride // 2
        yield True
        return -1

    def resume(self):
        """Find the end of what is written; set `next` to the first free sector of the region. Raises OSError if the
        card fails.
        """
        for _ in self.resume_steps():
            pass

    def resume_steps(self):
        """As resume, but a generator of steps that take little time.

        What the card lost in the middle may mislead a binary search, so it is repeated while anything is
        written farther on.
        """
        low = yield from self._search(0)
        later = yield from self._later(low)
        while later >= 0:
            low = yield from self._search(later + 1)
            later = yield from self._later(low)
        self.next = low

    def last_block(self, flight_offset, flight):
        """The newest whole block of records before `next` that carries the flight's bytes at this offset.

        Returns the block as a buffer that the next reading overwrites, or None if there is none among the
        last _LOOK_BACK sectors. Raises OSError if the card fails.
        """
        for index in range(self.next - 1, max(self.next - 1 - _LOOK_BACK, -1), -1):
            sector = self._readable(index)
            if sector is not None and self._is_ours(sector, flight_offset, flight):
                if not sector[_FLAGS] & FLAG_PARITY:
                    return sector
        return None

    def _is_ours(self, sector, flight_offset, flight):
        return has(sector, flight_offset, flight) and is_whole(sector)

    def whole_block(self, index, flight_offset, flight):
        """The block at this place, if it is whole and of the flight, else None; see last_block."""
        try:
            sector = self._read(self.start + index)
        except OSError:
            return None
        return sector if self._is_ours(sector, flight_offset, flight) else None

    def prepare(self):
        """Go to the next sector that holds no block: whatever misled the search, none is written over.

        Returns its place; equal to `count` if the region is full. Raises OSError if the sector cannot be read.
        """
        while self._is_written(self.next):
            self.next += 1
        return self.next

    def room(self):
        """Sectors that are left."""
        return self.count - self.next

    def skip(self):
        """Leave the next sector out: it refuses to be written."""
        self.next += 1

    def write(self, buffer):
        """Write one block to the next sector; prepare says which that is. Raises OSError if the card refuses it."""
        self._held = -1
        self._card.writeblocks(self.start + self.next, buffer)
        self.next += 1
