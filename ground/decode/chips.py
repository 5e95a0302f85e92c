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

PT1000_OHM_AT_0_DEGC = 1000.0
# IEC 60751:2008, coefficients of the Callendar-Van Dusen equation.
_A = 3.9083e-3
_B = -5.775e-7
_C = -4.183e-12
_LOWEST_DEGC, _HIGHEST_DEGC = -200.0, 850.0  # where IEC 60751 defines the equation


def _whole_numbers(words, wanted):
    """The words as whole numbers; ValueError unless there are exactly the wanted ones."""
    if len(words) != len(wanted):
        raise ValueError(f"needs {len(wanted)} words ({' '.join(wanted)}), has {len(words)}")
    return [_number(int, word, name) for word, name in zip(words, wanted, strict=True)]


def _number(kind, word, name):
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
    c1, c2, c3, c4, c5, c6 = _whole_numbers(words, ("C1", "C2", "C3", "C4", "C5", "C6"))
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
    # Far outside the data sheet's ranges stands a fault on the bus, not weather.
    plausible = has_d2 & (temperature_degc > -100) & (temperature_degc < 125)
    temperature_degc = np.where(plausible, temperature_degc, np.nan)
    plausible &= has_d1 & (pressure_pa > 0) & (pressure_pa < 6e5)
    return np.where(plausible, pressure_pa, np.nan), temperature_degc


def _conversions(counts):
    """Results of a 24-bit converter as int64 (0 where there is none), and where there is one."""
    present = (counts > 0) & (counts < 1 << 24)
    return np.where(present, counts, 0).astype(np.int64), present


def pt1000_divider(words, counts):
    """Convert a PT1000 against a reference resistor, read as the ratio R / (R + reference), to degC.

    words: the reference resistance in ohm. counts: 65535 times the ratio.
    Source: IEC 60751:2008, Callendar-Van Dusen equation, solved for the temperature. NaN where it
    is not defined (below -200 or above 850 degC: a short or a broken wire).
    """
    if len(words) != 1:
        raise ValueError(f"needs 1 word (reference resistance in ohm), has {len(words)}")
    reference_ohm = _number(float, words[0], "reference resistance")
    if not 0 < reference_ohm < 1e9:
        raise ValueError(f"reference resistance is {words[0]} ohm, which cannot be")
    counts = np.where(counts < FULL_SCALE_16_BITS, counts, np.nan)
    resistance_ohm = reference_ohm * counts / (FULL_SCALE_16_BITS - counts)
    return (platinum_temperature_degc(resistance_ohm, PT1000_OHM_AT_0_DEGC),)


def platinum_temperature_degc(resistance_ohm, resistance_at_0_degc_ohm):
    """Give the temperature at which an IEC 60751 platinum resistor has this resistance.

    resistance_ohm: float array of any shape. Returns degC, NaN outside -200 to 850 degC.
    Source: IEC 60751:2008. Above 0 degC the quadratic is solved in closed form; below, Newton's
    method starts from that solution and is exact in doubles after four steps.
    """
    ratio = np.asarray(resistance_ohm, float) / resistance_at_0_degc_ohm
    with np.errstate(invalid="ignore"):
        warm_degc = (-_A + np.sqrt(_A**2 - 4 * _B * (1 - ratio))) / (2 * _B)
    t = np.array(warm_degc)
    for _ in range(4):
        value = 1 + _A * t + _B * t**2 + _C * (t - 100) * t**3
        slope = _A + 2 * _B * t + _C * (4 * t**3 - 300 * t**2)
        t = t - (value - ratio) / slope
    temperature_degc = np.where(ratio >= 1, warm_degc, t)
    defined = (temperature_degc >= _LOWEST_DEGC) & (temperature_degc <= _HIGHEST_DEGC)
    return np.where(defined, temperature_degc, np.nan)


def sht3x(words, temperature_counts, humidity_counts):
    """Convert an SHT3x's raw words S_T and S_RH to (degC, relative humidity in percent).

    words: none. Source: Sensirion, SHT3x-DIS data sheet, 4.13.
    """
    _whole_numbers(words, ())
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
    range_g, range_deg_s = _whole_numbers(words, ("acceleration range in g", "rate range in deg/s"))
    to_m_s2 = range_g * STANDARD_GRAVITY_M_S2 / HALF_SCALE_16_BITS
    to_deg_s = range_deg_s / HALF_SCALE_16_BITS
    return tuple(c * to_m_s2 for c in counts[:3]) + tuple(c * to_deg_s for c in counts[3:])


def mpu6050_temperature(words, counts):
    """Convert the raw word of an MPU-6050's own thermometer to degC.

    words: none. Source: InvenSense, RM-MPU-6000A, registers 65 and 66.
    """
    _whole_numbers(words, ())
    return (counts / 340.0 + 36.53,)


def adc_divider(words, counts):
    """Convert a voltage behind a divider, read by an ADC whose full scale is 65535 counts, to V.

    words: the ADC's reference in mV, and the divider's ratio (voltage in over voltage at the ADC)
    in thousandths. Source: arithmetic.
    """
    reference_mv, ratio_thousandths = _whole_numbers(words, ("reference in mV", "ratio in thousandths"))
    return (counts / FULL_SCALE_16_BITS * (reference_mv / 1000.0) * (ratio_thousandths / 1000.0),)
