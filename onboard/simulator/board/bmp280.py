# The BMP280 as its data sheet (BST-BMP280-DS001, revision 1.23) describes it, seen from the bus: registers
# with an address that counts up when read; written in pairs of address and value; asleep until a measurement
# is asked for.

from protocol.constant import const

_CALIB00 = const(0x88)
_ID = const(0xD0)
_RESET = const(0xE0)
_STATUS = const(0xF3)
_CTRL_MEAS = const(0xF4)
_CONFIG = const(0xF5)
_PRESS_MSB = const(0xF7)
_TEMP_MSB = const(0xFA)
_START_UP_MS = const(2)
_MEASURING = const(0x08)
_IM_UPDATE = const(0x01)


class Bmp280Device:
    """clock: the board's Clock; stream: rows of [pressure, temperature], 20 bits; words: T1 to T3, P1 to P9.

    Modes: sleep and forced (section 3.6); the normal mode, which measures again and again, is not there.
    """

    def __init__(self, clock, stream, words):
        self._clock = clock
        self._stream = stream
        self._words = words
        self._registers = bytearray(256)
        self._pointer = 0
        self._up_at = 0
        self._ready_at = None  # when the running measurement is over; None: asleep
        self._power_on()

    def _power_on(self):
        registers = self._registers
        for i in range(len(registers)):
            registers[i] = 0
        register = _CALIB00
        for word in self._words:  # table 17: low byte first, negative ones in two's complement
            registers[register] = word & 0xFF
            registers[register + 1] = word >> 8 & 0xFF
            register += 2
        registers[_ID] = 0x58
        registers[_PRESS_MSB] = 0x80
        registers[_TEMP_MSB] = 0x80
        self._up_at = self._clock.world_ms() + _START_UP_MS
        self._ready_at = None

    def write(self, buffer):
        """Set the register address; more bytes are a value, and further pairs of address and value."""
        self._pointer = buffer[0]
        for i in range(1, len(buffer), 2):
            self.write_register(buffer[i - 1], buffer[i : i + 1])

    def write_register(self, register, buffer):
        """Write a register. Only reset, ctrl_meas and config can be written."""
        self._update()
        value = buffer[0]
        if register == _RESET and value == 0xB6:
            self._power_on()
        elif register == _CONFIG:
            self._registers[_CONFIG] = value
        elif register == _CTRL_MEAS:
            self._registers[_CTRL_MEAS] = value
            if value & 3 in (1, 2) and self._ready_at is None:
                self._measure()

    def read_into(self, buffer):
        """Read bytes from the register address on."""
        self._update()
        for i in range(len(buffer)):
            buffer[i] = self._registers[self._pointer + i & 0xFF]

    def _measure(self):
        now = self._clock.world_ms()
        self._stream.at(now)
        # Section 3.8.1, the maximum: 1.25 ms, 2.3 ms a conversion, 0.575 ms more with pressure; rounded up.
        temperature, pressure = self._oversampling()
        self._ready_at = now + (1250 + 2300 * (temperature + pressure) + (575 if pressure else 0)) // 1000 + 1

    def _oversampling(self):
        # How often each quantity is converted, 0 if it is skipped.
        control = self._registers[_CTRL_MEAS]
        temperature = control >> 5
        pressure = control >> 2 & 7
        return (1 << min(temperature, 5)) >> 1, (1 << min(pressure, 5)) >> 1

    def _update(self):
        registers = self._registers
        now = self._clock.world_ms()
        if self._ready_at is not None and now >= self._ready_at:
            self._ready_at = None
            registers[_CTRL_MEAS] &= 0xFC  # back asleep
            temperature, pressure = self._oversampling()
            self._store(_PRESS_MSB, self._stream.value(0), pressure)
            self._store(_TEMP_MSB, self._stream.value(1), temperature)
        registers[_STATUS] = _IM_UPDATE if now < self._up_at else 0
        if self._ready_at is not None:
            registers[_STATUS] |= _MEASURING

    def _store(self, register, result, conversions):
        # One conversion gives 16 bits, each doubling one more (tables 4 and 5).
        if not conversions:
            result = 0x80000
        lost = 4
        while conversions > 1:
            conversions >>= 1
            lost -= 1
        result = result >> lost << lost
        self._registers[register] = result >> 12
        self._registers[register + 1] = result >> 4 & 0xFF
        self._registers[register + 2] = result << 4 & 0xF0
