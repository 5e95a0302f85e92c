# Readings of the board's own ADC.

READINGS = 16  # their mean has about four more bits than one reading, if the noise is a count or more


def mean_u16(adc):
    """The mean of 16 readings of a machine.ADC, in 0 .. 65534 (65535 means missing in a record)."""
    total = 0
    for _ in range(READINGS):
        total += adc.read_u16()
    return min((total + READINGS // 2) // READINGS, 65534)
