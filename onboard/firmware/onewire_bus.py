# The 1-Wire bus and the thermometers on it.

from binascii import unhexlify

from onboard.firmware.ds18b20 import DS18B20, Conversion
from onboard.firmware.onewire import OneWire


class OneWireBus:
    """Makes the drivers of thermometers that convert together. board: see Logger."""

    def __init__(self, board):
        self._bus = OneWire(board.onewire)
        self._conversion = Conversion(self._bus, board.ticks_ms)

    def thermometer(self, rom):
        """The driver of a DS18B20, by its ROM code: 16 hexadecimal digits, family code first."""
        return DS18B20(self._bus, unhexlify(rom), self._conversion)
