# Finds LOFTBOOK.LOG on a card with the file system FAT16 or FAT32. Needed once a boot, and then let go.
#
# Source: Microsoft, "FAT: General Overview of On-Disk Format", version 1.03 (FAT16 and FAT32).

from onboard.firmware.region import has
from protocol.block import BLOCK_SIZE
from protocol.constant import const

_CLUSTERS_A_STEP = const(256)
LOG_NAME = b"LOFTBOOKLOG"  # LOFTBOOK.LOG as a directory holds it


class CardError(OSError):
    """The card cannot take the log; the message says why and what to do."""


def _u16(buffer, offset):
    return buffer[offset] | buffer[offset + 1] << 8


def _u32(buffer, offset):
    return _u16(buffer, offset) | _u16(buffer, offset + 2) << 16


class Volume:
    """The file system of a card.

    read: read(number) -> the sector as a buffer that the next reading may overwrite. Raises OSError if it fails.
    """

    def __init__(self, read):
        self._read = read

    def find_log(self):
        """Where the log file lies: (its first sector, number of sectors). A generator of steps that returns it.

        Raises CardError if there is no log file, or if it does not lie in one piece.
        """
        volume = 0
        sector = self._read(0)
        if not has(sector, 510, b"\x55\xaa"):
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
            first, size = yield from self._entry_in_chain(_u32(sector, 44))
        else:
            first, size = self._entry(root, root_sectors)
        yield from self._check_one_piece(first, size)
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
            yield True
        raise CardError("no file LOFTBOOK.LOG on the card: make it before the flight")

    def _entry(self, start, sectors):
        for number in range(start, start + sectors):
            sector = self._read(number)
            for offset in range(0, BLOCK_SIZE, 32):
                if has(sector, offset, LOG_NAME) and not sector[offset + 11] & 0x18:
                    first = _u16(sector, offset + 26) | _u16(sector, offset + 20) << 16
                    return first, _u32(sector, offset + 28)
        raise CardError("no file LOFTBOOK.LOG on the card: make it before the flight")

    def _check_one_piece(self, first, size):
        clusters = (size + self._cluster_sectors * BLOCK_SIZE - 1) // (self._cluster_sectors * BLOCK_SIZE)
        if clusters == 0:
            raise CardError("LOFTBOOK.LOG is empty: make it as large as the log may become")
        for cluster in range(first, first + clusters - 1):
            if cluster % _CLUSTERS_A_STEP == 0:
                yield True
            if self._next_cluster(cluster) != cluster + 1:
                raise CardError("LOFTBOOK.LOG lies in several pieces: make it on a freshly formatted card")
