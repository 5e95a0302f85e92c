# Where the log goes: a file of fixed size, LOFTBOOK.LOG, made in one piece on a freshly formatted
# card. The logger asks the file system once where that file lies and then writes its sectors
# directly: the file system's own structures never change in flight, so no power cut can break them.
#
# Source: Microsoft, "FAT: General Overview of On-Disk Format", version 1.03 (FAT16 and FAT32).

from protocol.block import BLOCK_LIMIT, BLOCK_MAGIC, BLOCK_SIZE, FLAG_PARITY, is_whole
from protocol.constant import const

LOG_NAME = b"LOFTBOOKLOG"  # LOFTBOOK.LOG as a directory holds it
_FLAGS = const(5)  # offset of the flags in a block
_NEIGHBOURS = const(4)  # sectors that are asked, one after the other, in place of one that cannot be read
_LOOK_AHEAD = const(64)  # sectors behind the supposed end that are checked for later blocks
_LOOK_BACK = const(2048)  # sectors before it in which a whole block of the flight is looked for


class CardError(OSError):
    """The card cannot take the log; the message says why and what to do."""


def _u16(buffer, offset):
    return buffer[offset] | buffer[offset + 1] << 8


def _u32(buffer, offset):
    return _u16(buffer, offset) | _u16(buffer, offset + 2) << 16


def _has(buffer, offset, expected):
    for i in range(len(expected)):
        if buffer[offset + i] != expected[i]:
            return False
    return True


class LogRegion:
    """The sectors of the log file on a block device.

    card: an object with readblocks(number, buffer) and writeblocks(number, buffer), 512 bytes a block.
    Raises CardError if there is no log file, or if it does not lie in one piece.
    """

    def __init__(self, card):
        self._card = card
        self._sector = bytearray(BLOCK_SIZE)
        self._checked = memoryview(self._sector)[:BLOCK_LIMIT]
        self._held = -1  # number of the sector that is held; a chain of clusters asks for the same one often
        self.start, self.count = self._find()
        self.next = 0

    def _read(self, number):
        if number != self._held:
            self._held = -1
            self._card.readblocks(number, self._sector)
            self._held = number
        return self._sector

    def _find(self):
        volume = 0
        sector = self._read(0)
        if not _has(sector, 510, b"\x55\xaa"):
            raise CardError("no file system on the card: format it as FAT32 and make the log file")
        if sector[0] not in (0xEB, 0xE9):  # not a volume's boot sector, so a partition table
            volume = _u32(sector, 446 + 8)
            sector = self._read(volume)
        if _u16(sector, 11) != BLOCK_SIZE or sector[13] == 0 or sector[16] == 0:
            raise CardError("the card is not FAT16 or FAT32: format it as FAT32")
        self._cluster_sectors = sector[13]
        self._fat = volume + _u16(sector, 14)
        fat_sectors = _u16(sector, 22) or _u32(sector, 36)
        root = self._fat + sector[16] * fat_sectors
        root_sectors = (_u16(sector, 17) * 32 + BLOCK_SIZE - 1) // BLOCK_SIZE
        self._data = root + root_sectors
        total = _u16(sector, 19) or _u32(sector, 32)
        clusters = (total - (self._data - volume)) // self._cluster_sectors
        if clusters < 4085:
            raise CardError("the card is formatted as FAT12: format it as FAT32")
        self._wide = clusters >= 65525
        if self._wide:
            first, size = self._entry_in_chain(_u32(sector, 44))
        else:
            first, size = self._entry(root, root_sectors)
        self._check_one_piece(first, size)
        return self._place(first), size // BLOCK_SIZE

    def _place(self, cluster):
        return self._data + (cluster - 2) * self._cluster_sectors

    def _next_cluster(self, cluster):
        width = 4 if self._wide else 2
        sector = self._read(self._fat + cluster * width // BLOCK_SIZE)
        offset = cluster * width % BLOCK_SIZE
        if self._wide:
            return _u16(sector, offset) | (_u16(sector, offset + 2) & 0x0FFF) << 16
        return _u16(sector, offset)

    def _is_last(self, cluster):
        return cluster >= (0x0FFFFFF8 if self._wide else 0xFFF8)

    def _entry_in_chain(self, cluster):
        for _ in range(256):  # a root directory longer than this is a loop
            try:
                return self._entry(self._place(cluster), self._cluster_sectors)
            except CardError:
                cluster = self._next_cluster(cluster)
                if self._is_last(cluster) or cluster < 2:
                    break
        raise CardError("no file LOFTBOOK.LOG on the card: make it before the flight")

    def _entry(self, start, sectors):
        for number in range(start, start + sectors):
            sector = self._read(number)
            for offset in range(0, BLOCK_SIZE, 32):
                if _has(sector, offset, LOG_NAME) and not sector[offset + 11] & 0x18:
                    first = _u16(sector, offset + 26) | _u16(sector, offset + 20) << 16
                    return first, _u32(sector, offset + 28)
        raise CardError("no file LOFTBOOK.LOG on the card: make it before the flight")

    def _check_one_piece(self, first, size):
        clusters = (size + self._cluster_sectors * BLOCK_SIZE - 1) // (self._cluster_sectors * BLOCK_SIZE)
        if clusters == 0:
            raise CardError("LOFTBOOK.LOG is empty: make it as large as the log may become")
        for cluster in range(first, first + clusters - 1):
            if self._next_cluster(cluster) != cluster + 1:
                raise CardError("LOFTBOOK.LOG lies in several pieces: make it on a freshly formatted card")

    def _is_written(self, index):
        # Raises OSError if the sector cannot be read, also at a second try.
        if index >= self.count:
            return False
        try:
            sector = self._read(self.start + index)
        except OSError:
            sector = self._read(self.start + index)
        return _has(sector, 0, BLOCK_MAGIC)

    def _seems_written(self, index):
        # A sector that cannot be read tells nothing; its neighbours behind it do.
        for near in range(index, index + _NEIGHBOURS):
            try:
                return self._is_written(near)
            except OSError:
                pass
        return False

    def _search(self, low):
        # The first index from low on that is not written, if all before it are.
        high = self.count
        while low < high:
            middle = (low + high) // 2
            if self._seems_written(middle) or self._seems_written(middle + 1):
                low = middle + 1
            else:
                high = middle
        return low

    def _later(self, low):
        # A written index from low on, -1 if none is seen: every sector near, then ever larger strides.
        for index in range(low, min(low + _LOOK_AHEAD, self.count)):
            if self._seems_written(index):
                return index
        stride = _LOOK_AHEAD
        while low + stride < self.count:
            if self._seems_written(low + stride):
                return low + stride
            stride += stride // 2
        return -1

    def resume(self):
        """Find the end of what is written; set `next` to the first free sector of the region.

        What the card lost in the middle may mislead a binary search, so it is repeated while anything is
        written farther on.
        """
        low = self._search(0)
        later = self._later(low)
        while later >= 0:
            low = self._search(later + 1)
            later = self._later(low)
        self.next = low

    def last_block(self, flight_offset, flight):
        """The newest whole block of records before `next` that carries the flight's bytes at this offset.

        Returns the block as a buffer that the next reading overwrites, or None if there is none among the
        last _LOOK_BACK sectors.
        """
        for index in range(self.next - 1, max(self.next - 1 - _LOOK_BACK, -1), -1):
            sector = self.whole_block(index, flight_offset, flight)
            if sector is not None and not sector[_FLAGS] & FLAG_PARITY:
                return sector
        return None

    def whole_block(self, index, flight_offset, flight):
        """The block at this place, if it is whole and of the flight, else None; see last_block."""
        try:
            sector = self._read(self.start + index)
        except OSError:
            return None
        if _has(sector, flight_offset, flight) and is_whole(sector, self._checked):
            return sector
        return None

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
