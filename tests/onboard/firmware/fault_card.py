# A card in memory whose writes and reads can be made to fail. Runs on CPython and MicroPython.
#
# Source of the layout: Microsoft, "FAT: General Overview of On-Disk Format", version 1.03.

ZEROS = bytes(512)
CLUSTER_SECTORS = 8
LEAST_CLUSTERS = 4200  # with fewer than 4085, a volume is FAT12
ROOT_SECTORS = 32


class Card:
    """A FAT16 card with a log file; what is written to the log is kept in `log`, by position in the log.

    refuses: function of a sector's number, True if the card raises OSError(5) instead of writing it;
    unreadable: the same for reading; stall_ms: what each write takes beyond 3 ms. Outlives the boards that it
    is put in.
    """

    def __init__(self, log_sectors=4000):
        self.log_sectors = log_sectors
        self.clusters = (log_sectors + CLUSTER_SECTORS - 1) // CLUSTER_SECTORS
        self.all_clusters = max(self.clusters, LEAST_CLUSTERS)
        self.fat_sectors = self.all_clusters // 256 + 1
        self.start = 1 + self.fat_sectors + ROOT_SECTORS
        self.log = {}
        self.written_over = 0
        self.reads = 0
        self.clock = None
        self.refuses = None
        self.unreadable = None
        self.stall_ms = 0

    def readblocks(self, number, buffer):
        self.reads += 1
        if self.unreadable and self.unreadable(number):
            raise OSError(5)
        buffer[:] = self.log.get(number - self.start, ZEROS)
        if number == 0:
            self._boot_sector(buffer)
        elif number <= self.fat_sectors:
            self._chain(buffer, (number - 1) * 256)
        elif number == 1 + self.fat_sectors:
            buffer[:11] = b"LOFTBOOKLOG"
            buffer[26] = 2  # its first cluster
            _put(buffer, 28, self.log_sectors * 512)

    def _boot_sector(self, buffer):
        for offset, value in ((0, 0xEB), (12, 2), (14, 1), (16, 1), (18, 2), (510, 0x55), (511, 0xAA)):
            buffer[offset] = value
        buffer[13] = CLUSTER_SECTORS
        buffer[22] = self.fat_sectors
        _put(buffer, 32, self.start + CLUSTER_SECTORS * self.all_clusters)

    def _chain(self, buffer, first):
        for entry in range(256):
            following = first + entry + 1 if first + entry < self.clusters + 1 else 0xFFFF
            buffer[2 * entry] = following & 0xFF
            buffer[2 * entry + 1] = following >> 8

    def writeblocks(self, number, buffer):
        self.clock.spend_us(3000 + 1000 * self.stall_ms)
        if self.refuses and self.refuses(number):
            raise OSError(5)
        if number - self.start in self.log:
            self.written_over += 1
        self.log[number - self.start] = bytes(buffer)


def _put(buffer, offset, number):
    for i in range(4):
        buffer[offset + i] = number >> 8 * i & 0xFF
