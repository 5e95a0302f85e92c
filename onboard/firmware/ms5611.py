# Barometer TE Connectivity MS5611-01BA03 on I2C. Source: data sheet ENG_DS_MS5611-01BA03_B3 and
# application note AN520 (CRC-4 over the PROM).

from protocol.constant import const

_RESET = const(b"\x1e")
_CONVERT_D1 = const(b"\x48")  # pressure, oversampling 4096
_CONVERT_D2 = const(b"\x58")  # temperature, oversampling 4096
_ADC_READ = const(0x00)
_PROM_READ = const(0xA0)
_CONVERSION_MS = const(11)  # 9.04 ms at most, and the tick at which the wait begins may be almost over


class MS5611:
    """Raw counts of an MS5611.

    i2c: a machine.I2C; address: 0x77, or 0x76 with CSB high.

        barometer.reset(); (reset_ms later) barometer.read_prom()
        wait = barometer.start()
        while wait: (wait ms later) wait = barometer.proceed(values, 0, 1)

    Every call raises OSError if the chip does not answer.
    """

    reset_ms = 4  # 2.8 ms until the PROM is loaded

    def __init__(self, i2c, address=0x77):
        self._i2c = i2c
        self._address = address
        self._three = bytearray(3)
        self._two = bytearray(2)
        self._has_pressure = False
        self.words = None  # C1 to C6, once read_prom has found them right

    def reset(self):
        """Send the reset sequence."""
        self._i2c.writeto(self._address, _RESET)

    def read_prom(self):
        """Read the calibration words. Raises OSError(5) if their CRC-4 is wrong."""
        prom = []
        for i in range(8):
            self._i2c.readfrom_mem_into(self._address, _PROM_READ + 2 * i, self._two)
            prom.append(self._two[0] << 8 | self._two[1])
        if crc4(prom) != prom[7] & 0x0F or not any(prom):
            raise OSError(5)
        self.words = tuple(prom[1:7])

    def start(self):
        """Begin a sample: start the pressure conversion. Returns ms until `proceed` may be called."""
        self._has_pressure = False
        self._i2c.writeto(self._address, _CONVERT_D1)
        return _CONVERSION_MS

    def proceed(self, values, pressure_at, temperature_at):
        """Fetch what was converted into `values`: D1 first, which starts the temperature conversion, then D2.

        Returns ms until the next call, 0 when both are there. Raises OSError(5) if there was no conversion.
        """
        if self._has_pressure:
            values[temperature_at] = self._counts()
            return 0
        values[pressure_at] = self._counts()
        self._has_pressure = True
        self._i2c.writeto(self._address, _CONVERT_D2)
        return _CONVERSION_MS

    def _counts(self):
        three = self._three
        self._i2c.readfrom_mem_into(self._address, _ADC_READ, three)
        counts = three[0] << 16 | three[1] << 8 | three[2]
        # 0: the sheet's answer without a conversion; all ones: a line that stays high.
        if counts == 0 or counts == 0xFFFFFF:
            raise OSError(5)
        return counts

    def pressure_pa(self, d1, d2):
        """First-order pressure in whole Pa, for decisions in flight that need changes, not truth.

        Within 10 Pa of the data sheet's first order. In a cold box that differs from its second order by some
        hundred Pa, at 30 km by nearly a kilometre of height; the ground computes the exact pressure from the
        counts. The sheet's 64-bit products are cut down so that usual values stay small integers.
        """
        c1, c2, c3, c4, c5, _ = self.words
        difference = d2 - (c5 << 8)
        coarse = difference >> 9
        sensitivity = c1 + (c3 * coarse >> 14)
        offset = (c2 << 10) + (c4 * coarse >> 4)
        scaled = (d1 >> 12) * sensitivity + ((d1 & 0xFFF) * sensitivity >> 12)
        return (scaled - offset) >> 9


def crc4(prom):
    """CRC-4 of the eight PROM words, after AN520."""
    remainder = 0
    for i in range(16):
        word = prom[i >> 1] if i >> 1 != 7 else prom[7] & 0xFF00
        remainder ^= word & 0xFF if i & 1 else word >> 8
        for _ in range(8):
            remainder = (remainder << 1 ^ 0x3000 if remainder & 0x8000 else remainder << 1) & 0xFFFF
    return remainder >> 12
