"""The MS5611's equations backwards: which counts would give this pressure and temperature?

Source: TE Connectivity, MS5611-01BA03 data sheet, "Pressure and temperature calculation" and
"Second order temperature compensation". Names C1 to C6, D1, D2, dT, TEMP, OFF, SENS are its own.
"""

import numpy as np

EXAMPLE_WORDS = (40127, 36924, 23317, 23282, 33464, 28312)  # the data sheet's example

_TWENTY = 2000  # 0.01 degC, below which the second order applies
_MINUS_FIFTEEN = -1500  # 0.01 degC, below which a further term applies


def ms5611_counts(pressure_pa, temperature_k, calibration):
    """Find the raw counts D1 and D2 for a pressure and a chip temperature.

    pressure_pa, temperature_k: float arrays (n,). calibration: C1 to C6, six whole numbers.
    Returns (D1, D2), int64 arrays (n,), limited to 24 bits. The data sheet's equations, first
    and second order, turn them back into the input to within what one count is worth.
    """
    c1, c2, c3, c4, c5, c6 = (int(word) for word in calibration)
    celsius_hundredths = (np.asarray(temperature_k, float) - 273.15) * 100.0
    d2 = np.rint(_difference(celsius_hundredths, c6)).astype(np.int64) + (c5 << 8)
    d2 = np.clip(d2, 0, 0xFFFFFF)

    # From here on as the chip's user will calculate, with the whole counts that it will see.
    dt = d2 - (c5 << 8)
    temp = _TWENTY + ((dt * c6) >> 23)
    off = (c2 << 16) + ((c4 * dt) >> 7)
    sens = (c1 << 15) + ((c3 * dt) >> 8)
    below_twenty = np.minimum(temp - _TWENTY, 0) ** 2
    below_minus_fifteen = np.minimum(temp - _MINUS_FIFTEEN, 0) ** 2
    off -= (5 * below_twenty >> 1) + 7 * below_minus_fifteen
    sens -= (5 * below_twenty >> 2) + (11 * below_minus_fifteen >> 1)
    d1 = np.rint((np.asarray(pressure_pa, float) * 2.0**15 + off) * 2.0**21 / sens).astype(np.int64)
    return np.clip(d1, 0, 0xFFFFFF), d2


def _difference(celsius_hundredths, c6):
    """dT of the data sheet for a compensated temperature in 0.01 degC."""
    slope = c6 / 2.0**23
    first_order = (celsius_hundredths - _TWENTY) / slope
    # Below 20 degC TEMP = 2000 + slope dT - dT^2 / 2^31, of which the negative root is wanted.
    # It is written so that nearly equal numbers are not subtracted.
    missing = np.maximum(_TWENTY - celsius_hundredths, 0.0)
    second_order = -2.0 * missing / (slope + np.sqrt(slope**2 + missing / 2.0**29))
    return np.where(celsius_hundredths < _TWENTY, second_order, first_order)
