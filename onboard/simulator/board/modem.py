# The modem of the downlink: keeps what is sent, byte by byte, with the time at which it is on the air.

from protocol.constant import const

DOWNLINK_NAME = "downlink.bin"
TIMES_NAME = "downlink.txt"  # a line a write: world time in ms of its first byte, offset in the file, bytes
_BUFFER = const(256)  # bytes that wait in the port's driver


class Modem:
    """The calls of machine.UART that the firmware uses for sending. A second board in the folder goes on.

    baud: of the line; a byte takes ten bits.
    """

    def __init__(self, clock, folder, baud):
        self._clock = clock
        self._baud = baud
        self._file = open(folder + "/" + DOWNLINK_NAME, "ab")
        self._times = open(folder + "/" + TIMES_NAME, "a")
        self._offset = self._file.seek(0, 2)
        self._free_ms = 0  # world time at which everything accepted so far is on the air

    def write(self, buffer, offset, count):
        """Take up to count bytes from the buffer. Returns how many: no more than the driver has room for."""
        now = self._clock.world_ms()
        begin = max(now, self._free_ms)
        waiting = (begin - now) * self._baud // 10000
        count = min(count, _BUFFER - waiting, len(buffer) - offset)
        if count <= 0:
            return None
        self._file.write(buffer[offset : offset + count])
        self._file.flush()
        self._times.write("{} {} {}\n".format(begin, self._offset, count))
        self._times.flush()
        self._offset += count
        self._free_ms = begin + -(-count * 10000 // self._baud)
        return count

    def close(self):
        """Close the files."""
        self._file.close()
        self._times.close()
