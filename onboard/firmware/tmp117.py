# Thermometer Texas Instruments TMP117 on I2C. Source: data sheet SNOSD82D, 2022.

from protocol.constant import const

_RESULT = const(0x00)
_CONFIGURATION = const(0x01)
_DEVICE_ID = const(0x0F)
_IDENTITY = const(0x117)  # in the low twelve bits
_ONE_SHOT = const(b"\x0c\x20")  # MOD one-shot, AVG eight conversions
_CONVERSION_MS = const(141)  # eight of 17.5 ms at most; the tick at which the wait begins may be almost over
_DATA_READY = const(0x2000)
_SOFT_RESET = const(0x0002)  # reads as 0: if not, the line stays high
_NONE = const(0x8000)  # -256 degC: no conversion yet


class TMP117:
    """Raw temperature of a TMP117, 1/128 degC, as offset binary: the register's word with its highest bit
    turned.

    i2c: a machine.I2C; address: 0x48 to 0x4B by ADD0. It sleeps between two readings, so that it does not
    warm itself. Every call raises OSError if the chip does not answer.
    """

    def __init__(self, i2c, address=0x48):
        self._i2c = i2c
        self._address = address
        self._two = bytearray(2)
        self._known = False

    def _get(self, register):
        self._i2c.readfrom_mem_into(self._address, register, self._two)
        return self._two[0] << 8 | self._two[1]

    def start(self):
        """Start a reading. Returns ms until it is ready. Raises OSError(19) for another chip."""
        if not self._known:
            if self._get(_DEVICE_ID) & 0xFFF != _IDENTITY:
                raise OSError(19)
            self._known = True
        self._i2c.writeto_mem(self._address, _CONFIGURATION, _ONE_SHOT)
        return _CONVERSION_MS

    def counts(self):
        """The reading, 0 .. 65534. Raises OSError(5) if there is none."""
        configuration = self._get(_CONFIGURATION)
        if not configuration & _DATA_READY or configuration & _SOFT_RESET:
            raise OSError(5)
        word = self._get(_RESULT)
        if word == _NONE:
            raise OSError(5)
        return min(word ^ 0x8000, 65534)
