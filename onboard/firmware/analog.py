# Readings of the board's own ADC.

from protocol.constant import const

_READINGS = const(16)  # their mean has about four more bits than one reading, if the noise is a count or more


def mean_u16(adc):
    """The mean of 16 readings of a machine.ADC, in 0 .. 65534 (65535 means missing in a record)."""
    total = 0
    for _ in range(_READINGS):
        total += adc.read_u16()
    return min((total + _READINGS // 2) // _READINGS, 65534)


class AnalogThermometer:
    """A PT1000 or NTC against a reference resistor on an ADC: raw share of the ADC's reference.

    adc: a machine.ADC; its calls raise OSError when they fail.
    """

    def __init__(self, adc):
        self._adc = adc

    def start(self):
        """Nothing to wait for. Returns 0."""
        return 0

    def counts(self):
        """The reading, 0 .. 65534."""
        return mean_u16(self._adc)
