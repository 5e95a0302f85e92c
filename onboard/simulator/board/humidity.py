# The SHT3x-DIS as its data sheet (version 7) describes it: a single shot without clock stretching, answered with two words,
# each followed by its CRC-8; not acknowledged while the measurement runs.

from protocol.constant import const

_MEASUREMENT_MS = const(15)  # high repeatability, 15.5 ms at most; 12.5 typical


class HumidityDevice:
    """clock: the board's Clock; stream: rows of [temperature word, humidity word]."""

    def __init__(self, clock, stream):
        self._clock = clock
        self._stream = stream
        self._ready_at = -1

    def write(self, buffer):
        """Take a command of two bytes."""
        if len(buffer) == 2 and buffer[0] == 0x24 and buffer[1] == 0x00:
            self._stream.at(self._clock.world_ms())
            self._ready_at = self._clock.world_ms() + _MEASUREMENT_MS

    def read_into(self, buffer):
        """Give the words of the measurement. Raises OSError(19), no acknowledge, if there is none."""
        if self._ready_at < 0 or self._clock.world_ms() < self._ready_at:
            raise OSError(19)
        self._ready_at = -1
        for word in range(2):
            value = self._stream.value(word)
            buffer[3 * word] = value >> 8
            buffer[3 * word + 1] = value & 0xFF
            buffer[3 * word + 2] = _crc8(value)


def _crc8(word):
    # Polynomial x^8 + x^5 + x^4 + 1, start 0xFF, as a division of 16 bits (data sheet 4.12).
    register = 0xFF << 8 ^ word
    for bit in range(15, -1, -1):
        if bit == 7:
            register &= 0xFFFF
        if register & 0x8000:
            register = (register << 1 ^ 0x3100) & 0xFFFF
        else:
            register = register << 1 & 0xFFFF
    return register >> 8
