# UBX, the binary protocol of u-blox receivers, as far as the dynamic model needs it.
#
# Sources: u-blox 8 / M8 receiver description UBX-13003221 (frame and check sum, UBX-CFG-NAV5, UBX-ACK-ACK and
# UBX-ACK-NAK); interface descriptions UBX-18010854 (UBX-CFG-VALSET, when it is refused) and UBX-21035062 (key
# of CFG-NAVSPG-DYNMODEL, as public code cites it). Without an airborne model a receiver calls every solution
# above 12 km invalid (integration manual of the generation 10, "Dynamic platform": portable, 12 000 m at most,
# checked by altitude and velocity).

from protocol.constant import const

# The airborne dynamic models are 6, 7 and 8: below 1 g, 2 g, 4 g of acceleration.
UBX_SYNC = b"\xb5\x62"
CLASS_CFG = const(0x06)
ID_NAV5 = const(0x24)
ID_VALSET = const(0x8A)
ACKNOWLEDGED = const(1)  # the id of UBX-ACK-ACK
REFUSED = const(0)  # the id of UBX-ACK-NAK

_NAV5_LENGTH = const(36)
_NAV5_MASK_DYN = const(0x0001)  # apply nothing but dynModel
_LAYER_RAM = const(0x01)
_KEY_DYNMODEL = b"\x21\x00\x11\x20"  # 0x20110021, little-endian
_FIXED = b"\xb5\x62\x05\0\x02\0\x06"  # what an answer begins with, but for its id, the fourth byte


def frame(message_class, message_id, payload):
    """A whole UBX frame (bytearray): sync, class, id, length, payload, check sum."""
    length = len(payload)
    checked = bytes([message_class, message_id, length & 0xFF, length >> 8]) + bytes(payload)
    a = b = 0
    for byte in checked:
        a = a + byte & 0xFF
        b = b + a & 0xFF
    return bytearray(UBX_SYNC + checked + bytes([a, b]))


def nav5_frame(model):
    """UBX-CFG-NAV5 that sets the dynamic model and leaves every other setting as it is."""
    payload = bytearray(_NAV5_LENGTH)
    payload[0] = _NAV5_MASK_DYN
    payload[2] = model
    return frame(CLASS_CFG, ID_NAV5, payload)


def valset_frame(model):
    """UBX-CFG-VALSET that sets the dynamic model in RAM, for receivers that no longer know UBX-CFG-NAV5."""
    return frame(CLASS_CFG, ID_VALSET, bytes([0, _LAYER_RAM, 0, 0]) + _KEY_DYNMODEL + bytes([model]))


class AckReader:
    """Finds the receiver's answers to CFG-NAV5 and CFG-VALSET in the bytes that it sends, among sentences and
    noise, however they are cut into pieces. Allocates nothing.

    answer: ACKNOWLEDGED, REFUSED, or None as long as there was none since `restart`.
    """

    def __init__(self):
        self.restart()

    def restart(self):
        """Forget everything that came before: a question is about to be asked."""
        self.answer = None
        self._place = 0  # of the byte awaited in the frame, 0 for its first
        self._id = 0
        self._a = 0
        self._b = 0

    def feed(self, buffer, count):
        """Take `count` bytes from the start of the buffer."""
        for i in range(count):
            byte = buffer[i]
            if self._place == 0:
                # Most bytes are of sentences: nothing more is looked at.
                if byte == 0xB5:
                    self._place = 1
            elif self._fits(byte):
                self._place += 1
                if self._place == 10:
                    self.answer = self._id
                    self._place = 0
            else:
                self._place = 1 if byte == 0xB5 else 0

    def _fits(self, byte):
        # Whether a frame of UBX-ACK goes on with this byte. Nothing in one but its check sum can be 0xB5, so
        # a frame that breaks off never swallows the start of the next.
        place = self._place
        if place == 1:
            self._a = self._b = 0
            return byte == 0x62
        if place == 8:
            return byte == self._a
        if place == 9:
            return byte == self._b
        if place == 3:
            self._id = byte
            right = byte == ACKNOWLEDGED or byte == REFUSED
        elif place == 7:
            right = byte == ID_NAV5 or byte == ID_VALSET
        else:
            right = byte == _FIXED[place]
        self._a = self._a + byte & 0xFF
        self._b = self._b + self._a & 0xFF
        return right
