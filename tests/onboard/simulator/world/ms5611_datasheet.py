"""The MS5611's equations forwards, written for the tests straight from the data sheet."""

# TE MS5611-01BA03 data sheet, "Pressure and temperature calculation": the example's words.
EXAMPLE = (40127, 36924, 23317, 23282, 33464, 28312)


def compensated(d1, d2, words, exact=False):
    """(TEMP, P) in 0.01 degC and Pa after the data sheet's two flow charts, whole numbers.

    With exact=True without rounding down, to see what one count is worth.
    """
    c1, c2, c3, c4, c5, c6 = words

    def divided(value, bits):
        return value / 2**bits if exact else value >> bits

    dt = d2 - c5 * 2**8
    temp = 2000 + divided(dt * c6, 23)
    off = c2 * 2**16 + divided(c4 * dt, 7)
    sens = c1 * 2**15 + divided(c3 * dt, 8)
    t2 = off2 = sens2 = 0
    if temp < 2000:
        t2 = divided(dt * dt, 31)
        off2 = divided(5 * (temp - 2000) ** 2, 1)
        sens2 = divided(5 * (temp - 2000) ** 2, 2)
        if temp < -1500:
            off2 += 7 * (temp + 1500) ** 2
            sens2 += divided(11 * (temp + 1500) ** 2, 1)
    off, sens = off - off2, sens - sens2
    return temp - t2, divided(divided(d1 * sens, 21) - off, 15)
