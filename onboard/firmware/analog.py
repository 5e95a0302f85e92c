# Readings of the board's own ADC.

from protocol.constant import const

_READINGS = const(16)  # their mean has about four more bits than one reading, if the noise is a count or more


def mean_u16(adc):
    """The mean of 16 readings of a machine.ADC, in 0 .. 65534 (65535 means missing in a record)."""
    total = 0
    for _ in range(_READINGS):
        total += adc.read_u16()
    return min((total + _READINGS // 2) // _READINGS, 65534)
