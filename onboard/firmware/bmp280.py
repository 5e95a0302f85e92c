# Barometer Bosch BMP280 on I2C. Source: data sheet BST-BMP280-DS001, revision 1.23. The BME280 has the same
# registers and words for pressure and temperature (BST-BME280-DS002, 5.2), so it serves as well.
#
# The sheet specifies it from 300 to 1100 hPa only: above some 9 km nobody promises what its pressure is
# worth.

from protocol.constant import const

_CALIBRATION = const(0x88)
_ID = const(0xD0)
_RESET = const(0xE0)
_STATUS = const(0xF3)  # the data follow from 0xF7 on
_CTRL_MEAS = const(0xF4)
_RESET_WORD = const(0xB6)
_IDENTITIES = (0x58, 0x60)
_FORCED = const(0x55)  # temperature x2, pressure x16, one measurement ("ultra high resolution", table 7)
_MEASUREMENT_MS = const(45)  # 43.2 ms at most, and the tick at which the wait begins may be almost over
_MEASURING = const(0x08)
_IM_UPDATE = const(0x01)
_UNSIGNED = (0, 3)  # T1 and P1; the other words are signed
_NONE = const(0x80000)  # what both results read as before the first measurement


class BMP280:
    """Raw counts of a BMP280.

    i2c: a machine.I2C; address: 0x76, or 0x77 with SDO high.

        barometer.reset(); (reset_ms later) barometer.read_prom()
        wait = barometer.start(); (wait ms later) barometer.proceed(values, 0, 1)

    Every call raises OSError if the chip does not answer.
    """

    reset_ms = 4  # 2 ms until it can be spoken to

    def __init__(self, i2c, address=0x76):
        self._i2c = i2c
        self._address = address
        self._one = bytearray(1)
        self._ten = bytearray(10)
        self.words = None  # T1 to T3, P1 to P9, once read_prom has found them right

    def _set(self, register, value):
        self._one[0] = value
        self._i2c.writeto_mem(self._address, register, self._one)

    def _get(self, register):
        self._i2c.readfrom_mem_into(self._address, register, self._one)
        return self._one[0]

    def reset(self):
        """Reset the chip."""
        self._set(_RESET, _RESET_WORD)

    def read_prom(self):
        """Read the calibration words.

        Raises OSError(19) for another chip, OSError(5) while it still loads its words. They carry no check
        sum, so they are read twice: OSError(5) if the two differ or cannot be.
        """
        if self._get(_ID) not in _IDENTITIES:
            raise OSError(19)
        if self._get(_STATUS) & _IM_UPDATE:
            raise OSError(5)
        first = bytearray(24)
        again = bytearray(24)
        self._i2c.readfrom_mem_into(self._address, _CALIBRATION, first)
        self._i2c.readfrom_mem_into(self._address, _CALIBRATION, again)
        words = []
        for i in range(12):
            word = first[2 * i] | first[2 * i + 1] << 8
            words.append(word - 65536 if word & 0x8000 and i not in _UNSIGNED else word)
        if first != again or not words[0] or not words[3]:
            raise OSError(5)
        self.words = tuple(words)

    def start(self):
        """Start a measurement of both. Returns ms until `proceed` may be called."""
        self._set(_CTRL_MEAS, _FORCED)
        return _MEASUREMENT_MS

    def proceed(self, values, pressure_at, temperature_at):
        """Fetch both results, of one measurement, into `values`. Returns 0: there is no further step.

        Raises OSError(110) while it measures, OSError(5) if it has not measured since it had its supply.
        """
        ten = self._ten
        self._i2c.readfrom_mem_into(self._address, _STATUS, ten)
        if ten[0] & _MEASURING:
            raise OSError(110)
        pressure = ten[4] << 12 | ten[5] << 4 | ten[6] >> 4
        temperature = ten[7] << 12 | ten[8] << 4 | ten[9] >> 4
        # 0: a line that stays low.
        if pressure == _NONE and temperature == _NONE or not pressure or not temperature:
            raise OSError(5)
        values[pressure_at] = pressure
        values[temperature_at] = temperature
        return 0

    def pressure_pa(self, counts, temperature_counts):
        """Pressure in whole Pa, for decisions in flight.

        The sheet's formula (its section 8.1, in double precision) with its products cut down so that usual
        values stay small integers; within 5 Pa of it from -60 to +60 degC and 10 to 1100 hPa.
        """
        t1, t2, t3, p1, p2, p3, p4, p5, p6, p7, p8, p9 = self.words
        difference = (temperature_counts >> 4) - t1
        fine = ((temperature_counts >> 3) - (t1 << 1)) * t2 >> 11
        # The sheet's t_fine / 2 - 64000.
        fine = (fine + ((difference * difference >> 12) * t3 >> 14) >> 1) - 64000
        eighth = fine >> 3
        square = (fine >> 4) * (fine >> 4) >> 13  # fine^2 / 2^21
        offset = (p6 * square >> 8) + (p5 * eighth >> 10) + (p4 << 4)
        slope = (p3 * square >> 13) + (p2 * eighth >> 12)
        divisor = (p1 << 3) + (p1 * (slope >> 2) >> 14)
        if divisor <= 0:
            return 0
        # (2^20 - counts - offset) * 50000 / divisor, in two steps of a long division.
        scaled = (1048576 - counts - offset) * 1000
        pressure = scaled // divisor * 50 + scaled % divisor * 50 // divisor
        curve = p9 * ((pressure >> 3) * (pressure >> 3) >> 13) >> 12
        return pressure + (curve + (p8 * (pressure >> 2) >> 13) + p7 >> 4)
