"""The BMP280's equations backwards: which counts would give this pressure and temperature?

Source: Bosch Sensortec, BST-BMP280-DS001, section 8.1, the compensation formula in double precision. Names T1
to T3, P1 to P9, t_fine are its own.
"""

import numpy as np

EXAMPLE_WORDS = (27504, 26435, -1000, 36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000)  # section 3.12

_HIGHEST = 0xFFFFF


def bmp280_counts(pressure_pa, temperature_k, words):
    """Find the raw counts of pressure and temperature for a pressure and a chip temperature.

    pressure_pa, temperature_k: float arrays (n,). words: T1 to T3, P1 to P9.
    Returns (pressure counts, temperature counts), int64 arrays (n,), limited to 20 bits. The formula turns
    them back into the input to within what one count is worth.
    """
    t1, t2, t3, p1, p2, p3, p4, p5, p6, p7, p8, p9 = (float(word) for word in words)
    wanted_fine = (np.asarray(temperature_k, float) - 273.15) * 5120.0
    # t_fine = u T2 + (u / 8)^2 T3 with u = adc_T / 16384 - T1 / 1024: Newton's method, from the linear part
    # on.
    u = wanted_fine / t2
    for _ in range(5):
        u -= (u * t2 + u * u / 64.0 * t3 - wanted_fine) / (t2 + u / 32.0 * t3)
    temperature_counts = np.clip(np.rint((u + t1 / 1024.0) * 16384.0), 0, _HIGHEST)

    # From here on as the chip's user will calculate, with the whole counts that it will see.
    u = temperature_counts / 16384.0 - t1 / 1024.0
    x = (u * t2 + u * u / 64.0 * t3) / 2.0 - 64000.0
    offset = (x * x * p6 / 32768.0 + x * p5 * 2.0) / 4.0 + p4 * 65536.0
    slope = (1.0 + (p3 * x * x / 524288.0 + p2 * x) / 524288.0 / 32768.0) * p1
    pressure = np.asarray(pressure_pa, float)
    # The last line of the formula, q + (P9 q^2 / 2^31 + P8 q / 2^15 + P7) / 16 = p, solved for q.
    q = pressure.copy()
    for _ in range(6):
        value = q + (p9 * q * q / 2.0**31 + p8 * q / 2.0**15 + p7) / 16.0
        q -= (value - pressure) / (1.0 + (p9 * q / 2.0**30 + p8 / 2.0**15) / 16.0)
    pressure_counts = np.clip(np.rint(1048576.0 - offset / 4096.0 - q * slope / 6250.0), 0, _HIGHEST)
    return pressure_counts.astype(np.int64), temperature_counts.astype(np.int64)
