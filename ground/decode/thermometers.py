"""From a thermometer's raw counts to degC, one function a chip. They are called as those of chips.py."""

import numpy as np

from ground.decode.chips import FULL_SCALE_16_BITS, number, whole_numbers

PT1000_OHM_AT_0_DEGC = 1000.0
# IEC 60751:2008, coefficients of the Callendar-Van Dusen equation.
_A = 3.9083e-3
_B = -5.775e-7
_C = -4.183e-12
_LOWEST_DEGC, _HIGHEST_DEGC = -200.0, 850.0  # where IEC 60751 defines the equation
_OFFSET = 32768.0  # of a signed word that is logged as an unsigned one


def pt1000_divider(words, counts):
    """Convert a PT1000 against a reference resistor, read as the ratio R / (R + reference), to degC.

    words: the reference resistance in ohm. counts: 65535 times the ratio.
    Source: IEC 60751:2008, Callendar-Van Dusen equation, solved for the temperature. NaN where it
    is not defined (below -200 or above 850 degC: a short or a broken wire).
    """
    if len(words) != 1:
        raise ValueError(f"needs 1 word (reference resistance in ohm), has {len(words)}")
    return (platinum_temperature_degc(_resistance_ohm(words[0], counts), PT1000_OHM_AT_0_DEGC),)


def _resistance_ohm(reference, counts):
    """The resistance against a reference (a word of the manifest), from 65535 times R / (R + reference)."""
    reference_ohm = number(float, reference, "reference resistance")
    if not 0 < reference_ohm < 1e9:
        raise ValueError(f"reference resistance is {reference} ohm, which cannot be")
    counts = np.where(counts < FULL_SCALE_16_BITS, counts, np.nan)
    return reference_ohm * counts / (FULL_SCALE_16_BITS - counts)


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


def ntc_divider(words, counts):
    """Convert an NTC thermistor against a reference resistor, read as the ratio R / (R + reference), to degC.

    words: the reference resistance in ohm; A, B, C of 1/T = A + B L + C L^3, L = ln(R / ohm), T in K.
    counts: 65535 times the ratio.
    Source: Steinhart and Hart, "Calibration curves for thermistors", Deep-Sea Research 15, 1968 (from
    memory). NaN outside -100 to 200 degC: a short or a broken wire. How far the three coefficients hold is up
    to the thermistor's maker.
    """
    if len(words) != 4:
        raise ValueError(f"needs 4 words (reference resistance in ohm, A, B, C), has {len(words)}")
    resistance_ohm = _resistance_ohm(words[0], counts)
    a, b, c = (number(float, word, name) for word, name in zip(words[1:], "ABC", strict=True))
    if not np.isfinite([a, b, c]).all() or not (b > 0 and c >= 0):
        raise ValueError(f"A, B, C are {' '.join(words[1:])}; B must be above zero, C not below")
    logarithm = np.log(np.where(resistance_ohm > 0, resistance_ohm, np.nan))
    inverse = a + b * logarithm + c * logarithm**3
    celsius = 1.0 / np.where(inverse > 0, inverse, np.nan) - 273.15
    return (np.where((celsius >= -100.0) & (celsius <= 200.0), celsius, np.nan),)


def tmp117(words, counts):
    """Convert a TMP117's word, offset binary: its result register with the highest bit turned, to degC.

    words: none. Source: TI, SNOSD82D, 7.3.3: 1/128 degC a count. NaN outside -100 to 160 degC: -256 degC is
    what the chip says before its first conversion; it is specified from -55 to 150 degC.
    """
    whole_numbers(words, ())
    return (_within((counts - _OFFSET) / 128.0, -100.0, 160.0),)


def ds18b20(words, counts):
    """Convert a DS18B20's word, offset binary: its temperature register with the highest bit turned, to degC.

    words: its ROM code, 16 hexadecimal digits. Source: Maxim, DS18B20 data sheet 19-7487, table 1: 1/16 degC
    a count. NaN outside -55 to 125 degC, which it does not measure.
    """
    return ds18b20_signed(words, counts - _OFFSET)


def ds18b20_signed(words, counts):
    """Convert a DS18B20's word as a signed number, as a probe's record has it, to degC. As ds18b20."""
    whole_numbers(words[1:], ())
    _check_rom(words)
    return (_within(counts / 16.0, -55.0, 125.0),)


def _check_rom(words):
    rom = words[0] if words else ""
    if len(rom) != 16 or not set(rom.lower()) <= set("0123456789abcdef"):
        raise ValueError(f"the ROM code is {rom!r}; it must have 16 hexadecimal digits")


def _within(celsius, lowest, highest):
    return np.where((celsius >= lowest) & (celsius <= highest), celsius, np.nan)
