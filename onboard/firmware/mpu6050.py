# Accelerometer and gyroscope InvenSense MPU-6050 on I2C. Source: register map RM-MPU-6000A, revision 4.2.

from protocol.constant import const

_SMPLRT_DIV = const(0x19)
_CONFIG = const(0x1A)
_GYRO_CONFIG = const(0x1B)
_ACCEL_CONFIG = const(0x1C)
_ACCEL_XOUT_H = const(0x3B)
_TEMP_OUT_H = const(0x41)
_PWR_MGMT_1 = const(0x6B)
_WHO_AM_I = const(0x75)
_IDENTITY = const(0x68)
_SLEEP = const(0x40)
_LOWEST = const(-32768)  # stands for "missing" in a record

_ACCEL_RANGES_G = (2, 4, 8, 16)  # AFS_SEL 0 to 3
_GYRO_RANGES = (250, 500, 1000, 2000)  # FS_SEL 0 to 3, deg/s


class MPU6050:
    """Raw counts of an MPU-6050.

    i2c: a machine.I2C; address: 0x68, or 0x69 with AD0 high.
    Every call raises OSError if the chip does not answer.
    """

    def __init__(self, i2c, acceleration_range_g, rate_range_deg_s, address=0x68):
        self._i2c = i2c
        self._address = address
        self._one = bytearray(1)
        self._two = bytearray(2)
        self._all = bytearray(14)
        self._afs = _ACCEL_RANGES_G.index(acceleration_range_g) << 3
        self._fs = _GYRO_RANGES.index(rate_range_deg_s) << 3
        self._is_sound = True  # the last start, and the last reading of the axes, could be believed

    def _set(self, register, value):
        self._one[0] = value
        self._i2c.writeto_mem(self._address, register, self._one)

    def start(self):
        """Check the identity, wake the chip and set its ranges. Raises OSError(19) for another chip."""
        self._is_sound = False
        self._i2c.readfrom_mem_into(self._address, _WHO_AM_I, self._one)
        if self._one[0] & 0x7E != _IDENTITY:
            raise OSError(19)
        self._set(_PWR_MGMT_1, 0x01)  # awake, clock from the x gyroscope
        self._set(_CONFIG, 0x04)  # low-pass filter 21 Hz: 10 samples a second see less of the vibration
        self._set(_SMPLRT_DIV, 19)  # 1 kHz / 20
        self._set(_GYRO_CONFIG, self._fs)
        self._set(_ACCEL_CONFIG, self._afs)
        self._is_sound = True

    def read_into(self, values, acceleration, rate):
        """Read all axes in one transaction, x, y and z into `values` from these two positions on.

        Raises OSError(5) if all is zero: the chip sleeps, as it does after its supply was gone for a moment; and if
        all is ones: the line stays high.
        """
        self._is_sound = False
        buffer = self._all
        self._i2c.readfrom_mem_into(self._address, _ACCEL_XOUT_H, buffer)
        level = buffer[0]
        if level == 0 or level == 0xFF:
            for i in range(len(buffer)):
                if buffer[i] != level:
                    break
            else:
                raise OSError(5)
        self._is_sound = True
        for i in range(3):
            values[acceleration + i] = _signed(buffer, 2 * i)
            values[rate + i] = _signed(buffer, 2 * i + 8)  # the temperature stands between them

    def temperature(self):
        """The raw temperature of the chip. Raises OSError(5) while it sleeps, when it would read as zero, or while the
        other readings cannot be believed.
        """
        self._i2c.readfrom_mem_into(self._address, _PWR_MGMT_1, self._one)
        if self._one[0] & _SLEEP or not self._is_sound:
            raise OSError(5)
        self._i2c.readfrom_mem_into(self._address, _TEMP_OUT_H, self._two)
        return _signed(self._two, 0)


def _signed(buffer, offset):
    word = buffer[offset] << 8 | buffer[offset + 1]
    if word & 0x8000:
        word -= 0x10000
        if word == _LOWEST:
            word += 1
    return word
