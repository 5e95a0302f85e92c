"""From a chip's raw counts to physical quantities, one function a chip.

Every function takes the words of the manifest's sensor line (a tuple of str), then one float
array of counts a field, all of one shape (n,), NaN where nothing was logged. It returns a tuple
of float arrays (n,), NaN where the counts are missing or beyond what the chip can mean. It
raises ValueError, which says what is wrong with the words, if they do not fit the chip.
"""

import numpy as np

STANDARD_GRAVITY_M_S2 = 9.80665  # by definition; what the inertial chip's makers call 1 g
FULL_SCALE_16_BITS = 65535.0
HALF_SCALE_16_BITS = 32768.0


def whole_numbers(words, wanted):
    """The words as whole numbers of at most 32 bits; ValueError unless there are exactly the wanted ones."""
    if len(words) != len(wanted):
        raise ValueError(f"needs {len(wanted)} words ({' '.join(wanted)}), has {len(words)}")
    numbers = [number(int, word, name) for word, name in zip(words, wanted, strict=True)]
    for value, name in zip(numbers, wanted, strict=True):
        if not -(2**31) <= value < 2**31:
            raise ValueError(f"{name} is {value}, larger than any chip's")
    return numbers


def number(kind, word, name):
    """The word as a number of that kind (int or float); ValueError, with the word's name, if it is none."""
    try:
        return kind(word)
    except ValueError:
        raise ValueError(f"{name} is {word!r}, which is no number") from None


def ms5611(words, pressure_counts, temperature_counts):
    """Convert raw words D1 and D2 of an MS5611 to (pressure in Pa, its own temperature in degC).

    words: the calibration words C1 to C6 from the chip's PROM.
    Counts of zero are missing too: by the data sheet ("ADC read") the chip answers 0 when it is
    read before it has converted.
    Source: TE Connectivity, MS5611-01BA03 data sheet, "Pressure and temperature calculation" and
    "Second order temperature compensation". All intermediate values are whole numbers, shifted
    as there; only the last division keeps its fraction, so that rounding pressure_pa down to a
    whole pascal gives the data sheet's P.
    """
    c1, c2, c3, c4, c5, c6 = whole_numbers(words, ("C1", "C2", "C3", "C4", "C5", "C6"))
    d1, has_d1 = _conversions(pressure_counts)
    d2, has_d2 = _conversions(temperature_counts)

    difference = d2 - (c5 << 8)
    temperature = 2000 + (difference * c6 >> 23)
    offset = (c2 << 16) + (c4 * difference >> 7)
    sensitivity = (c1 << 15) + (c3 * difference >> 8)

    cold = temperature < 2000
    very_cold = temperature < -1500
    below_20 = (temperature - 2000) ** 2
    below_minus_15 = (temperature + 1500) ** 2
    temperature_2 = np.where(cold, difference**2 >> 31, 0)
    offset_2 = np.where(cold, 5 * below_20 >> 1, 0) + np.where(very_cold, 7 * below_minus_15, 0)
    sensitivity_2 = np.where(cold, 5 * below_20 >> 2, 0) + np.where(very_cold, 11 * below_minus_15 >> 1, 0)

    offset -= offset_2
    sensitivity -= sensitivity_2
    pressure_pa = (d1.astype(float) * sensitivity / 2.0**21 - offset) / 2.0**15
    temperature_degc = (temperature - temperature_2) / 100.0
    return _plausible(np.where(has_d1, pressure_pa, np.nan), np.where(has_d2, temperature_degc, np.nan))


def _conversions(counts):
    """Results of a 24-bit converter as int64 (0 where there is none), and where there is one."""
    present = (counts > 0) & (counts < 1 << 24)
    return np.where(present, counts, 0).astype(np.int64), present


def bmp280(words, pressure_counts, temperature_counts):
    """Convert raw words of a BMP280 to (pressure in Pa, its own temperature in degC).

    words: the trimming words T1 to T3 and P1 to P9 from the chip.
    Source: Bosch Sensortec, BST-BMP280-DS001, revision 1.23, section 8.1: the formula in double precision.
    The data sheet specifies the pressure from 300 to 1100 hPa; below, that is above some 9 km, its error is
    not known.
    """
    names = ("T1", "T2", "T3", "P1", "P2", "P3", "P4", "P5", "P6", "P7", "P8", "P9")
    t1, t2, t3, p1, p2, p3, p4, p5, p6, p7, p8, p9 = (float(word) for word in whole_numbers(words, names))
    u = np.where(temperature_counts < 1 << 20, temperature_counts, np.nan)
    raw = np.where(pressure_counts < 1 << 20, pressure_counts, np.nan)

    fine = (u / 16384.0 - t1 / 1024.0) * t2 + (u / 131072.0 - t1 / 8192.0) ** 2 * t3
    temperature_degc = fine / 5120.0
    x = fine / 2.0 - 64000.0
    offset = (x * x * p6 / 32768.0 + x * p5 * 2.0) / 4.0 + p4 * 65536.0
    slope = (1.0 + (p3 * x * x / 524288.0 + p2 * x) / 524288.0 / 32768.0) * p1
    with np.errstate(divide="ignore", invalid="ignore"):
        first = (1048576.0 - raw - offset / 4096.0) * 6250.0 / slope
        pressure_pa = first + (p9 * first * first / 2.0**31 + first * p8 / 32768.0 + p7) / 16.0
    return _plausible(pressure_pa, temperature_degc)


def _plausible(pressure_pa, temperature_degc):
    """Both, NaN where they are far outside the data sheets' ranges: a fault on the bus, no weather."""
    with np.errstate(invalid="ignore"):
        has_temperature = (temperature_degc > -100) & (temperature_degc < 125)
        has_pressure = has_temperature & (pressure_pa > 0) & (pressure_pa < 6e5)
    return np.where(has_pressure, pressure_pa, np.nan), np.where(has_temperature, temperature_degc, np.nan)


def sht3x(words, temperature_counts, humidity_counts):
    """Convert an SHT3x's raw words S_T and S_RH to (degC, relative humidity in percent).

    words: none. Source: Sensirion, SHT3x-DIS data sheet, 4.13.
    """
    whole_numbers(words, ())
    return (
        -45.0 + 175.0 * temperature_counts / FULL_SCALE_16_BITS,
        100.0 * humidity_counts / FULL_SCALE_16_BITS,
    )


def mpu6050_motion(words, *counts):
    """Convert raw words of an MPU-6050's three accelerometer and three gyroscope axes.

    words: full scale of the accelerometer in g, and of the gyroscope in degrees per second.
    Returns three arrays in m/s2, then three in degrees per second.
    Source: InvenSense, RM-MPU-6000A, registers 59 to 64 and 67 to 72: 32768 counts are full scale.
    """
    range_g, range_deg_s = whole_numbers(words, ("acceleration range in g", "rate range in deg/s"))
    to_m_s2 = range_g * STANDARD_GRAVITY_M_S2 / HALF_SCALE_16_BITS
    to_deg_s = range_deg_s / HALF_SCALE_16_BITS
    return tuple(c * to_m_s2 for c in counts[:3]) + tuple(c * to_deg_s for c in counts[3:])


def mpu6050_temperature(words, counts):
    """Convert the raw word of an MPU-6050's own thermometer to degC.

    words: none. Source: InvenSense, RM-MPU-6000A, registers 65 and 66.
    """
    whole_numbers(words, ())
    return (counts / 340.0 + 36.53,)


def adc_divider(words, counts):
    """Convert a voltage behind a divider, read by an ADC whose full scale is 65535 counts, to V.

    words: the ADC's reference in mV, and the divider's ratio (voltage in over voltage at the ADC)
    in thousandths. Source: arithmetic.
    """
    reference_mv, ratio_thousandths = whole_numbers(words, ("reference in mV", "ratio in thousandths"))
    return (counts / FULL_SCALE_16_BITS * (reference_mv / 1000.0) * (ratio_thousandths / 1000.0),)
