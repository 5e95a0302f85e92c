# A u-blox receiver on the UART's other end: takes UBX frames and says what its dynamic model lets it say.
#
# Written from the u-blox M8 receiver description UBX-13003221 (frames, UBX-CFG-NAV5: only what the mask names
# is applied) and the interface description UBX-18010854 (UBX-CFG-VALSET: refused for an unknown key). After
# power-on the model is "portable".

from protocol.constant import const

_FRAME_MAX = const(64)
_HEADER = const(6)  # sync, class, id, length
_PORTABLE = const(0)
_MODELS = (0, 2, 3, 4, 5, 6, 7, 8)
_FLYING = (6, 7, 8)
_KEY_DYNMODEL = const(0x20110021)


class Receiver:
    """usual, low: the Sentences of the tape, for a model that flies and for one that ends at 12 km.

    kind: which messages it knows: "nav5" (an older one), "valset" (a newer one), or "mute": none arrives.
    """

    def __init__(self, usual, low, kind):
        self._usual = usual
        self._low = low
        self._kind = kind
        self._frame = bytearray(_FRAME_MAX)
        self._answer = bytearray(10)
        self.power_on()

    def power_on(self):
        """Begin as after power-on: what it was told is gone."""
        self.model = _PORTABLE
        self.answered = 0  # bytes of the answer that were not read yet
        self._length = 0
        self._now = None  # the sentences of the second
        self._second = -1

    def select(self, second):
        """Hold the sentences of a second. Returns their length in bytes."""
        if second != self._second:
            self._second = second
            self._now = self._usual if self.model in _FLYING else self._low
        return self._now.select(second)

    def byte(self, position):
        """A byte of the held sentences."""
        return self._now.byte(position)

    def take(self, buffer):
        """Take what is sent to it."""
        if self._kind != "mute":
            for byte in buffer:
                self._take(byte)

    def next(self):
        """The next byte of the answer."""
        byte = self._answer[10 - self.answered]
        self.answered -= 1
        return byte

    def _take(self, byte):
        frame = self._frame
        if self._length == 0 and byte != 0xB5 or self._length == 1 and byte != 0x62:
            self._length = 0
            return
        frame[self._length] = byte
        self._length += 1
        if self._length < _HEADER:
            return
        size = _HEADER + (frame[4] | frame[5] << 8) + 2
        if size > _FRAME_MAX:
            self._length = 0
        elif self._length == size:
            self._length = 0
            if self._is_right(size) and frame[2] == 0x06:
                self._reply(self._configure(size))

    def _is_right(self, size):
        a = b = 0
        for i in range(2, size - 2):
            a = (a + self._frame[i]) % 256
            b = (b + a) % 256
        return self._frame[size - 2] == a and self._frame[size - 1] == b

    def _configure(self, size):
        # Do what a message of the class CFG asks. Returns whether it was done.
        frame = self._frame
        if self._kind == "nav5" and frame[3] == 0x24 and size == 44:
            mask = frame[6] | frame[7] << 8
            return self._set(frame[8]) if mask & 1 else True
        if self._kind == "valset" and frame[3] == 0x8A and size == 17:
            key = frame[10] | frame[11] << 8 | frame[12] << 16 | frame[13] << 24
            to_memory = frame[7] & 1  # layers: bit 0 is what is in use now
            return bool(to_memory) and key == _KEY_DYNMODEL and self._set(frame[14])
        return False

    def _set(self, model):
        if model not in _MODELS:
            return False
        self.model = model
        return True

    def _reply(self, done):
        answer = self._answer
        answer[0], answer[1], answer[2], answer[3] = 0xB5, 0x62, 0x05, 1 if done else 0
        answer[4], answer[5], answer[6], answer[7] = 2, 0, self._frame[2], self._frame[3]
        a = b = 0
        for i in range(2, 8):
            a = (a + answer[i]) % 256
            b = (b + a) % 256
        answer[8], answer[9] = a, b
        self.answered = 10
