# The MS5611-01BA03 as its data sheet (ENG_DS_MS5611-01BA03_B3) describes it, seen from the bus:
# commands of one byte; a conversion takes its time; the ADC reads 0 before it is done and after it was read.

_CONVERSION_MS = (1, 2, 3, 5, 10)  # by oversampling 256 to 4096, rounded up from 0.6 .. 9.04 ms


class BarometerDevice:
    """clock: the board's Clock; stream: rows of [D1, D2]; words: C1 to C6."""

    def __init__(self, clock, stream, words):
        self._clock = clock
        self._stream = stream
        self._prom = [0] + list(words) + [0]
        self._prom[7] = _crc4(self._prom)
        self._command = 0
        self._column = -1
        self._ready_at = 0
        self._result = 0

    def write(self, buffer):
        """Take a command."""
        command = buffer[0]
        self._command = command
        if command & 0xE1 == 0x40 and command & 0x0F <= 8:
            self._column = command >> 4 & 1
            self._ready_at = self._clock.world_ms() + _CONVERSION_MS[(command & 0x0F) >> 1]
            self._stream.at(self._clock.world_ms())
            self._result = self._stream.value(self._column)

    def read_into(self, buffer):
        """Answer the last command."""
        command = self._command
        answer = 0
        if command & 0xF1 == 0xA0:
            answer = self._prom[command >> 1 & 7]
        elif command == 0x00 and self._column >= 0 and self._clock.world_ms() >= self._ready_at:
            answer = self._result
            self._column = -1
        for i in range(len(buffer) - 1, -1, -1):
            buffer[i] = answer & 0xFF
            answer >>= 8


def _crc4(prom):
    # AN520 in words: a 16-bit register takes the 16 bytes of the PROM, the last one as zero, and is shifted
    # eight times after each; its four high bits are the code.
    data = []
    for word in prom[:7]:
        data += [word >> 8, word & 0xFF]
    data += [prom[7] >> 8, 0]
    register = 0
    for byte in data:
        register ^= byte
        for _ in range(8):
            high = register & 0x8000
            register = register << 1 & 0xFFFF
            if high:
                register ^= 0x3000
    return register >> 12
