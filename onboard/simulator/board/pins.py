# The virtual ADC and UART, with the calls of machine.ADC and machine.UART that the drivers use.

from protocol.constant import const

_READING_US = const(3)
_LONGEST_MS = const(999)  # a receiver that sends for longer than a second falls behind; the tape does not
_ANSWER_BYTES = const(10)


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
    """The GNSS receiver's line: characters arrive one after the other at the baud rate.

    kind: what the receiver knows of UBX, see Receiver; None for one that is only listened to.
    """

    def __init__(self, clock, tape, baud, kind=None):
        self._clock = clock
        self.receiver = None
        if kind:
            from onboard.simulator.board.receiver import Receiver

            self.receiver = Receiver(tape.sentences, tape.low_sentences, kind)
        self._sentences = self.receiver or tape.sentences
        self._delay_ms = tape.gnss_delay_ms
        self._baud = baud
        # What was sent before power-on is gone.
        self._second = max(0, clock.world_ms() - self._delay_ms) // 1000
        self._taken = 0
        self._length = 0
        self._answer_ms = 0  # when the receiver's answer is there
        self._is_answer = False  # what waits is the answer

    def any(self):
        """Characters that have arrived and were not read."""
        waiting = 0 if self._is_answer else self._arrived()
        receiver = self.receiver
        if receiver is None or not receiver.answered:
            self._is_answer = False
            return waiting
        # The receiver answers between two seconds' sentences, never in the middle of one.
        is_between = self._taken in (0, self._length)
        self._is_answer = not waiting and is_between and self._clock.world_ms() >= self._answer_ms
        return receiver.answered if self._is_answer else waiting

    def _arrived(self):
        now = self._clock.world_ms() - self._delay_ms
        while True:
            length = self._sentences.select(self._second)
            since = now - self._second * 1000
            if self._taken < length or since < 1000:
                break
            self._second += 1
            self._taken = 0
        self._length = length
        if since < 0:
            return 0
        arrived = min(length, min(since, _LONGEST_MS) * self._baud // 10000)
        return max(0, arrived - self._taken)

    def readinto(self, buffer, count):
        """Read up to count characters into the buffer. Returns how many."""
        count = min(count, self.any(), len(buffer))
        if self._is_answer:
            for i in range(count):
                buffer[i] = self.receiver.next()
            return count
        for i in range(count):
            buffer[i] = self._sentences.byte(self._taken + i)
        self._taken += count
        return count

    def write(self, buffer):
        """Send to the receiver. Returns how many bytes."""
        if self.receiver:
            self.receiver.take(buffer)
            self._answer_ms = self._clock.world_ms() + (len(buffer) + _ANSWER_BYTES) * 10000 // self._baud
        return len(buffer)
