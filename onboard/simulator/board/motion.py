# The MPU-6050 as its register map (RM-MPU-6000A, revision 4.2) describes it: registers with an address that
# counts up; asleep after power-on, when its measurements read as zeros.

from protocol.constant import const

_ACCEL_XOUT_H = const(0x3B)
_PWR_MGMT_1 = const(0x6B)
_WHO_AM_I = const(0x75)
_SLEEP = const(0x40)


class MotionDevice:
    """clock: the board's Clock; stream: rows of [ax, ay, az, temperature, gx, gy, gz], signed words."""

    def __init__(self, clock, stream):
        self._clock = clock
        self._stream = stream
        self._registers = bytearray(128)
        self._registers[_PWR_MGMT_1] = _SLEEP
        self._registers[_WHO_AM_I] = 0x68
        self._pointer = 0

    def write(self, buffer):
        """Set the register address."""
        self._pointer = buffer[0]

    def write_register(self, register, buffer):
        """Write bytes from a register on; measurements and the identity cannot be written."""
        for i in range(len(buffer)):
            if not _ACCEL_XOUT_H <= register + i <= 0x60 and register + i != _WHO_AM_I:
                self._registers[register + i] = buffer[i]

    def read_into(self, buffer):
        """Read bytes from the register address on; a measurement's words belong to one sample."""
        self._sample()
        for i in range(len(buffer)):
            buffer[i] = self._registers[self._pointer + i & 0x7F]

    def _sample(self):
        registers = self._registers
        if registers[_PWR_MGMT_1] & _SLEEP:
            return
        self._stream.at(self._clock.world_ms())
        for column in range(7):
            word = self._stream.value(column) & 0xFFFF
            registers[_ACCEL_XOUT_H + 2 * column] = word >> 8
            registers[_ACCEL_XOUT_H + 2 * column + 1] = word & 0xFF
