# Thermometer Maxim DS18B20 on the 1-Wire bus, with a supply of its own (three wires: on two it cannot convert
# while others are read). Source: data sheet 19-7487, revision 6 (2019).

from onboard.firmware.onewire import crc8
from protocol.constant import const
from protocol.tick import tick_add, tick_difference

_CONVERT_T = const(0x44)
_READ_SCRATCHPAD = const(0xBE)
_CONVERSION_MS = const(751)  # 750 ms at most; the tick at which the wait begins may be almost over
_POWER_ON = const(0x0550)  # +85 degC
_CONFIGURATION = const(4)  # byte of the scratchpad


class Conversion:
    """Lets all DS18B20 of a bus convert at the same time.

    bus: a OneWire; ticks_ms: function that gives the tick.
    """

    def __init__(self, bus, ticks_ms):
        self._bus = bus
        self._ticks_ms = ticks_ms
        self._ready = 0
        self._running = False

    def start(self):
        """Start a conversion, or join the one that runs. Returns ms until the readings are ready."""
        now = self._ticks_ms()
        if self._running:
            wait = tick_difference(self._ready, now)
            if 0 < wait <= _CONVERSION_MS:
                return wait
        self._running = False
        self._bus.select(None)
        self._bus.write(_CONVERT_T)
        self._ready = tick_add(self._ticks_ms(), _CONVERSION_MS)
        self._running = True
        return _CONVERSION_MS


class DS18B20:
    """Raw temperature of one DS18B20, 1/16 degC, as offset binary: the register's word with its highest bit
    turned.

    bus: a OneWire; rom: its 8 bytes, family code 0x28 first; conversion: the Conversion of its bus.
    """

    def __init__(self, bus, rom, conversion):
        self._bus = bus
        self._rom = rom
        self._conversion = conversion
        self._nine = bytearray(9)

    def start(self):
        """Start a reading. Returns ms until it is ready."""
        return self._conversion.start()

    def counts(self):
        """The reading, 0 .. 65534.

        Raises OSError(19) if nothing is on the bus; OSError(5) if the check sum is wrong, or for exactly 85
        degC: that is what it says when its supply was away and it has not converted since.
        """
        nine = self._nine
        self._bus.select(self._rom)
        self._bus.write(_READ_SCRATCHPAD)
        self._bus.read_into(nine)
        # A bus that is held low reads as zeros, whose check sum is right: five bits of the configuration are
        # always 1.
        if crc8(nine) or nine[_CONFIGURATION] & 0x9F != 0x1F:
            raise OSError(5)
        word = nine[1] << 8 | nine[0]
        if word == _POWER_ON:
            raise OSError(5)
        unused = 3 - (nine[_CONFIGURATION] >> 5)  # low bits, undefined at less than 12 bits
        return min((word ^ 0x8000) >> unused << unused, 65534)
