# The virtual ADC and UART, with the calls of machine.ADC and machine.UART that the drivers use.

from protocol.constant import const

_READING_US = const(3)
_LONGEST_MS = const(999)  # a receiver that sends for longer than a second falls behind; the tape does not


class ADC:
    """A 12-bit converter whose reading is stretched to 16 bits, as machine.ADC.read_u16 does.

    stream: rows of fractions of the reference, in 1/16 of a 16-bit count; column: which of them.
    """

    def __init__(self, clock, noise, stream, column):
        self._clock = clock
        self._noise = noise
        self._stream = stream
        self._column = column

    def read_u16(self):
        """One reading, with a noise of about one 12-bit count."""
        self._clock.spend_us(_READING_US)
        self._stream.at(self._clock.world_ms())
        # Two uniform numbers of one 12-bit count each: a triangle, which a mean of readings resolves well.
        noise = (self._noise.next() & 0xFF) + (self._noise.next() & 0xFF) - 255
        fraction = self._stream.value(self._column)
        reading = fraction - (fraction >> 12) + noise + 128 >> 8  # the full scale is 4095, not 4096
        reading = max(0, min(4095, reading))
        return reading << 4 | reading >> 8


class UART:
    """The GNSS receiver's line: characters arrive one after the other at the baud rate."""

    def __init__(self, clock, tape, baud):
        self._clock = clock
        self._sentences = tape.sentences
        self._delay_ms = tape.gnss_delay_ms
        self._baud = baud
        self._second = 0
        self._taken = 0

    def any(self):
        """Characters that have arrived and were not read."""
        now = self._clock.world_ms() - self._delay_ms
        while True:
            length = self._sentences.select(self._second)
            since = now - self._second * 1000
            if self._taken < length or since < 1000:
                break
            self._second += 1
            self._taken = 0
        if since < 0:
            return 0
        arrived = min(length, min(since, _LONGEST_MS) * self._baud // 10000)
        return max(0, arrived - self._taken)

    def readinto(self, buffer, count):
        """Read up to count characters into the buffer. Returns how many."""
        count = min(count, self.any(), len(buffer))
        for i in range(count):
            buffer[i] = self._sentences.byte(self._taken + i)
        self._taken += count
        return count
