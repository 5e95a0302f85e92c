# The virtual card: a block device (as the VFS of MicroPython defines it) over an image file.

from protocol.constant import const

BLOCK_SIZE = 512
_STALL_CHANCE = const(400)  # of 65536: a card now and then pauses to tidy up
_STALL_MS = const(60)


class Card:
    """clock: the board's Clock; noise: for the time that a write takes; path: of the image file."""

    def __init__(self, clock, noise, path):
        self._clock = clock
        self._noise = noise
        self._file = open(path, "r+b")
        self._blocks = self._file.seek(0, 2) // BLOCK_SIZE

    def readblocks(self, number, buffer, offset=0):
        """Read blocks. Raises OSError(5) outside the card."""
        self._place(number, offset, len(buffer))
        self._clock.spend_us(400)
        self._file.readinto(buffer)

    def writeblocks(self, number, buffer, offset=0):
        """Write blocks. Raises OSError(5) outside the card."""
        self._place(number, offset, len(buffer))
        noise = self._noise.next()
        if noise < _STALL_CHANCE:
            self._clock.spend_us(_STALL_MS * 1000)
        self._clock.spend_us(1500 + (noise & 0x7FF))
        self._file.write(buffer)

    def _place(self, number, offset, length):
        start = number * BLOCK_SIZE + offset
        if number < 0 or start + length > self._blocks * BLOCK_SIZE:
            raise OSError(5)
        self._file.seek(start)

    def ioctl(self, operation, _):
        """Block count and size, as MicroPython asks for them."""
        if operation == 4:
            return self._blocks
        if operation == 5:
            return BLOCK_SIZE
        return 0

    def close(self):
        """Write everything to the image."""
        self._file.close()
