# Where the log goes: a file of fixed size, LOFTBOOK.LOG, made in one piece on a freshly formatted
# card. The logger asks the file system once where that file lies and then writes its sectors
# directly: the file system's own structures never change in flight, so no power cut can break them.
#
# Source: Microsoft, "FAT: General Overview of On-Disk Format", version 1.03 (FAT16 and FAT32).

from protocol.block import BLOCK_MAGIC, BLOCK_SIZE, is_whole
from protocol.constant import const

LOG_NAME = b"LOFTBOOKLOG"  # LOFTBOOK.LOG as a directory holds it
_LOOK_AHEAD = const(64)  # sectors behind the supposed end that are checked for later blocks
_LOOK_BACK = const(8)  # torn blocks at the end that are skipped to find a whole one


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
        return index < self.count and _has(self._read(self.start + index), 0, BLOCK_MAGIC)

    def resume(self):
        """Find the end of what is written; set `next` to the first free sector of the region.

        Returns the last whole block as a buffer, or None if the region is empty.
        """
        low = 0
        high = self.count
        while low < high:  # the first index that is not written, if all before it are
            middle = (low + high) // 2
            if self._is_written(middle) or self._is_written(middle + 1):
                low = middle + 1
            else:
                high = middle
        # A block that the card lost in the middle may have misled the search. Nothing that was
        # written may ever be written over, so look further until a long stretch is free.
        free = 0
        index = low
        while free < _LOOK_AHEAD and index < self.count:
            if self._is_written(index):
                low = index + 1
                free = 0
            else:
                free += 1
            index += 1
        self.next = low
        for index in range(low - 1, max(low - 1 - _LOOK_BACK, -1), -1):
            if is_whole(self._read(self.start + index)):
                return self._sector
        return None

    def is_full(self):
        """True when no sector is left."""
        return self.next >= self.count

    def write(self, buffer):
        """Write one block to the next free sector. Raises OSError if the card refuses it."""
        self._held = -1
        self._card.writeblocks(self.start + self.next, buffer)
        self.next += 1
