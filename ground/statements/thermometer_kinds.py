"""The kinds of thermometers: names for people, what they are rated for, and how far they may be wrong."""

import numpy as np

# Chip -> (words, what its maker rates it for in degC, what it cannot say anything below, degC).
CHIPS = {
    "ds18b20": ("DS18B20", (-55.0, 125.0), -55.0),  # Maxim 19-7487
    "tmp117": ("TMP117", (-55.0, 150.0), None),  # TI SNOSD82D
    "sht3x": ("SHT3x", (-40.0, 125.0), -45.0),  # Sensirion, SHT3x-DIS data sheet; -45 degC is its word 0
    "pt1000_divider": ("PT1000", (-200.0, 850.0), None),  # IEC 60751, the equation; the element's own may be less
    "ntc_divider": ("NTC", None, None),  # up to its maker
}


def name_of(chip):
    """What people call a chip of the manifest."""
    return CHIPS.get(chip, (chip or "thermometer",))[0]


def rated(chip):
    """(lowest, highest) temperature that its maker rates it for, degC, or None."""
    return CHIPS.get(chip, (None, None, None))[1]


def scale_end(chip):
    """The temperature below which it can say nothing, degC, or None."""
    return CHIPS.get(chip, (None, None, None))[2]


def tolerance_k(chip, celsius):
    """How far the maker lets a good chip be wrong, K, at a temperature in degC (scalar or array)."""
    celsius = np.asarray(celsius, float)
    if chip == "ds18b20":  # Maxim 19-7487: 0.5 degC from -10 to 85, 2 degC over its whole range
        return np.where(celsius >= -10.0, 0.5, np.interp(celsius, [-55.0, -10.0], [2.0, 0.5]))
    if chip == "tmp117":  # TI SNOSD82D: 0.1 degC from -20 to 50, 0.3 degC over its whole range (from memory)
        return np.where(celsius < -20.0, 0.3, 0.1) + np.maximum(-55.0 - celsius, 0.0) * 0.02
    if chip == "sht3x":  # SHT3x-DIS data sheet, SHT30: 0.2 degC, growing towards the cold end (from memory)
        return np.interp(celsius, [-45.0, 0.0], [0.8, 0.2])
    if chip == "pt1000_divider":  # IEC 60751:2008, class B
        return 0.3 + 0.005 * np.abs(celsius)
    return np.full(celsius.shape, 1.0)  # a usual thermistor far from 25 degC (common practice, no source)
