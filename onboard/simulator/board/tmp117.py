# The TMP117 as its data sheet (SNOSD82D) describes it, seen from the bus: words of 16 bits behind a pointer,
# high byte first; converts continuously after power-on.

from protocol.constant import const

_TEMP_RESULT = const(0x00)
_CONFIGURATION = const(0x01)
_DEVICE_ID = const(0x0F)
_POWER_ON_MS = const(2)  # 1.5 ms, section 7.3.1
_DATA_READY = const(0x2000)
_SOFT_RESET = const(0x0002)
_MOD = const(0x0C00)
_SHUTDOWN = const(0x0400)
_ONE_SHOT = const(0x0C00)
_WRITABLE = const(0x0FFC)
# Active time of a conversion at AVG 0 to 3 (1, 8, 32, 64 readings of 15.5 ms), and the least cycle at CONV 0
# to 7, in ms.
_ACTIVE_MS = (16, 124, 496, 992)
_CYCLE_MS = (16, 125, 250, 500, 1000, 4000, 8000, 16000)


class Tmp117Device:
    """clock: the board's Clock; stream: rows of [temperature], the signed word of the result register."""

    def __init__(self, clock, stream):
        self._clock = clock
        self._stream = stream
        self._pointer = 0
        self._reset()

    def _reset(self):
        self._configuration = 0x0220
        self._ready = False
        self._result = 0x8000
        self._begin(_POWER_ON_MS)

    def _begin(self, delay_ms):
        active = _ACTIVE_MS[self._configuration >> 5 & 3]
        self._started_at = self._clock.world_ms() + delay_ms
        self._done_at = self._started_at + active  # None: nothing runs
        if self._configuration & _MOD == _SHUTDOWN:
            self._done_at = None

    def _update(self):
        now = self._clock.world_ms()
        while self._done_at is not None and now >= self._done_at:
            self._stream.at(self._started_at)
            self._result = self._stream.value(0) & 0xFFFF
            self._ready = True
            if self._configuration & _MOD == _ONE_SHOT:
                self._configuration = self._configuration & ~_MOD | _SHUTDOWN
                self._done_at = None
                return
            active = _ACTIVE_MS[self._configuration >> 5 & 3]
            self._started_at += max(active, _CYCLE_MS[self._configuration >> 7 & 7])
            self._done_at = self._started_at + active

    def write(self, buffer):
        """Set the pointer; two more bytes write the register."""
        self._pointer = buffer[0]
        if len(buffer) == 3:
            self.write_register(buffer[0], buffer[1:])

    def write_register(self, register, buffer):
        """Write a word. Of the registers here only the configuration takes it."""
        self._update()
        self._pointer = register
        if register == _CONFIGURATION and len(buffer) == 2:
            word = buffer[0] << 8 | buffer[1]
            if word & _SOFT_RESET:
                self._reset()
            else:
                self._configuration = word & _WRITABLE
                self._begin(0)

    def read_into(self, buffer):
        """Read the word at the pointer. Reading result or configuration takes the flag "data ready" back."""
        self._update()
        word = 0
        if self._pointer == _TEMP_RESULT:
            word = self._result
            self._ready = False
        elif self._pointer == _CONFIGURATION:
            word = self._configuration | (_DATA_READY if self._ready else 0)
            self._ready = False
        elif self._pointer == _DEVICE_ID:
            word = 0x0117
        for i in range(len(buffer)):
            buffer[i] = word >> 8 if i == 0 else word & 0xFF
