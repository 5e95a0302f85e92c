# Humidity and temperature Sensirion SHT3x-DIS on I2C. Source: data sheet, version 7 (2022), tables 9 and 20.

from protocol.constant import const

_SINGLE_SHOT = const(b"\x24\x00")  # high repeatability, no clock stretching
_CONVERSION_MS = const(17)  # 15.5 ms at most, and the tick at which the wait begins may be almost over
_CRC_POLYNOMIAL = const(0x31)
_CRC_START = const(0xFF)


class SHT3x:
    """Raw words of an SHT3x.

    i2c: a machine.I2C; address: 0x44, or 0x45 with ADDR high.
    Every call raises OSError if the chip does not answer; fetch also if a CRC-8 is wrong.
    """

    def __init__(self, i2c, address=0x44):
        self._i2c = i2c
        self._address = address
        self._six = bytearray(6)
        self.temperature = 0
        self.humidity = 0

    def convert(self):
        """Start a measurement of both. Returns ms until it can be fetched."""
        self._i2c.writeto(self._address, _SINGLE_SHOT)
        return _CONVERSION_MS

    def fetch(self):
        """Read the words of the measurement into `temperature` and `humidity`."""
        six = self._six
        self._i2c.readfrom_into(self._address, six)
        if crc8(six, 0) != six[2] or crc8(six, 3) != six[5]:
            raise OSError(5)
        self.temperature = six[0] << 8 | six[1]
        self.humidity = six[3] << 8 | six[4]


def crc8(buffer, start):
    """Sensirion's CRC-8 of the two bytes from start."""
    register = _CRC_START
    for i in range(start, start + 2):
        register ^= buffer[i]
        for _ in range(8):
            register = (register << 1 ^ _CRC_POLYNOMIAL if register & 0x80 else register << 1) & 0xFF
    return register
