"""Conversions against the chips' data sheets and IEC 60751."""

import numpy as np
import pytest

from ground.decode import chips

# TE Connectivity, MS5611-01BA03 data sheet, "Pressure and temperature calculation": example values.
MS5611_WORDS = ("40127", "36924", "23317", "23282", "33464", "28312")
MS5611_D1, MS5611_D2 = 9085466, 8569150
MS5611_TEMPERATURE_DEGC, MS5611_PRESSURE_PA = 20.07, 100009


def counts(*values):
    return np.array(values, float)


def test_the_ms5611_example_of_the_data_sheet_is_met():
    pressure_pa, temperature_degc = chips.ms5611(MS5611_WORDS, counts(MS5611_D1), counts(MS5611_D2))
    assert temperature_degc[0] == MS5611_TEMPERATURE_DEGC
    assert np.floor(pressure_pa[0]) == MS5611_PRESSURE_PA


def test_the_ms5611_second_order_stays_as_it_was():
    # A regression value, computed once from the data sheet's second-order chart with floor shifts
    # (TEMP -62, P 48632); the data sheet prints no numbers for it.
    pressure_pa, temperature_degc = chips.ms5611(MS5611_WORDS, counts(6500000), counts(8000000))
    assert temperature_degc[0] == -0.62
    assert np.floor(pressure_pa[0]) == 48632


def _ms5611_of_the_chart(words, d1, d2):
    """The data sheet's charts, first and second order, written down again with Python's integers."""
    c1, c2, c3, c4, c5, c6 = [int(word) for word in words]
    dt = d2 - c5 * 2**8
    temp = 2000 + dt * c6 // 2**23
    off = c2 * 2**16 + c4 * dt // 2**7
    sens = c1 * 2**15 + c3 * dt // 2**8
    t2 = off2 = sens2 = 0
    if temp < 2000:
        t2 = dt * dt // 2**31
        off2 = 5 * (temp - 2000) ** 2 // 2
        sens2 = 5 * (temp - 2000) ** 2 // 4
        if temp < -1500:
            off2 += 7 * (temp + 1500) ** 2
            sens2 += 11 * (temp + 1500) ** 2 // 2
    p = (d1 * (sens - sens2) // 2**21 - (off - off2)) // 2**15
    return temp - t2, p


def test_the_ms5611_follows_the_charts_from_the_very_cold_to_the_warm():
    rng = np.random.default_rng(5611)
    d1, d2 = rng.integers(4_500_000, 9_500_000, 400), rng.integers(6_300_000, 9_400_000, 400)
    pressure_pa, temperature_degc = chips.ms5611(MS5611_WORDS, d1.astype(float), d2.astype(float))
    seen = np.isfinite(pressure_pa)
    assert seen.sum() > 200
    for i in np.flatnonzero(seen):
        hundredths, pascals = _ms5611_of_the_chart(MS5611_WORDS, int(d1[i]), int(d2[i]))
        assert round(temperature_degc[i] * 100) == hundredths
        assert np.floor(pressure_pa[i]) == pascals
    assert temperature_degc[seen].min() < -40 and temperature_degc[seen].max() > 30


@pytest.mark.parametrize(
    "d1, d2", [(np.nan, MS5611_D2), (0, MS5611_D2), (2**24, MS5611_D2), (2**32 - 1, MS5611_D2)]
)
def test_the_ms5611_without_a_pressure_conversion_still_has_a_temperature(d1, d2):
    pressure_pa, temperature_degc = chips.ms5611(MS5611_WORDS, counts(d1), counts(d2))
    assert np.isnan(pressure_pa[0])
    assert temperature_degc[0] == MS5611_TEMPERATURE_DEGC


@pytest.mark.parametrize("d2", [np.nan, 0, 2**24 - 1, 1])
def test_the_ms5611_without_a_sound_temperature_has_no_pressure(d2):
    pressure_pa, temperature_degc = chips.ms5611(MS5611_WORDS, counts(MS5611_D1), counts(d2))
    assert np.isnan(pressure_pa[0]) and np.isnan(temperature_degc[0])


# IEC 60751, table of a Pt100 (0 and 100 degC by definition of the coefficients; the others from memory,
# and checked by the equation): degC, ohm to two decimals.
PT100_ROWS = [
    (-180, 27.10),
    (-100, 60.26),
    (-50, 80.31),
    (0, 100.00),
    (50, 119.40),
    (100, 138.51),
    (800, 375.70),
]


@pytest.mark.parametrize("celsius, ohm", PT100_ROWS)
def test_platinum_resistances_of_the_standard_give_their_temperatures(celsius, ohm):
    ohm_per_degc = 0.39 if celsius < 0 else 0.29  # at least, on either side of 0 degC
    found = chips.platinum_temperature_degc(np.array([ohm]), 100.0)[0]
    assert abs(found - celsius) <= 0.005 / ohm_per_degc


def test_platinum_inverts_the_callendar_van_dusen_equation():
    # IEC 60751: R = R0 (1 + A t + B t^2 + C (t - 100) t^3), C only below 0 degC.
    t = np.linspace(-200, 850, 2101)
    ohm = 1000 * (1 + 3.9083e-3 * t - 5.775e-7 * t**2 + np.where(t < 0, -4.183e-12 * (t - 100) * t**3, 0))
    found = chips.platinum_temperature_degc(ohm[1:-1], 1000.0)
    np.testing.assert_allclose(found, t[1:-1], atol=1e-9)


def test_a_divider_at_half_scale_reads_its_reference():
    # R = reference at half scale; a PT1000 of 1000 ohm is at 0 degC by definition.
    (celsius,) = chips.pt1000_divider(("1000",), counts(65535 / 2))
    assert abs(celsius[0]) < 1e-9


def test_a_short_and_a_broken_wire_read_as_missing():
    (celsius,) = chips.pt1000_divider(("1000",), counts(0, 65534, 65535, np.nan))
    assert np.isnan(celsius).all()


def test_sht3x_words_convert_by_the_data_sheet():
    # Sensirion SHT3x-DIS data sheet, 4.13: T = -45 + 175 S/65535, RH = 100 S/65535.
    words = counts(0x0000, 0x6666, 0xFFFF, np.nan)
    celsius, percent = chips.sht3x((), words, words)
    np.testing.assert_allclose(celsius[:3], [-45, 25, 130], atol=1e-12)
    np.testing.assert_allclose(percent[:3], [0, 40, 100], atol=1e-12)
    assert np.isnan(celsius[3]) and np.isnan(percent[3])


@pytest.mark.parametrize("range_g, counts_per_g", [(2, 16384), (4, 8192), (8, 4096), (16, 2048)])
def test_mpu6050_accelerations_scale_by_their_range(range_g, counts_per_g):
    # InvenSense RM-MPU-6000A, registers 59 to 64: LSB per g; 1 g is 9.80665 m/s2 by definition.
    axes = [counts(counts_per_g * n) for n in (1, -1, 0.5)] + [counts(0)] * 3
    x, y, z, *_ = chips.mpu6050_motion((str(range_g), "2000"), *axes)
    np.testing.assert_allclose([x[0], y[0], z[0]], [9.80665, -9.80665, 4.903325])


@pytest.mark.parametrize(
    "range_deg_s, counts_per_deg_s", [(250, 131), (500, 65.5), (1000, 32.8), (2000, 16.4)]
)
def test_mpu6050_rates_scale_by_their_range(range_deg_s, counts_per_deg_s):
    # InvenSense RM-MPU-6000A, registers 67 to 72: LSB per degree per second, rounded to three figures.
    axes = [counts(0)] * 3 + [counts(counts_per_deg_s * n) for n in (1, -1, 2)]
    *_, x, y, z = chips.mpu6050_motion(("16", str(range_deg_s)), *axes)
    np.testing.assert_allclose([x[0], y[0], z[0]], [1, -1, 2], rtol=2e-3)


def test_the_mpu6050_thermometer_converts_by_the_register_map():
    # InvenSense RM-MPU-6000A, registers 65 and 66: raw/340 + 36.53; -521 is 35 degC.
    (celsius,) = chips.mpu6050_temperature((), counts(-521, 0, np.nan))
    np.testing.assert_allclose(celsius[:2], [34.9976, 36.53], atol=1e-4)
    assert round(celsius[0], 2) == 35.00 and np.isnan(celsius[2])


def test_a_voltage_divider_multiplies_by_its_ratio():
    (volts,) = chips.adc_divider(("3300", "3000"), counts(0, 65535 / 3, 65535, np.nan))
    np.testing.assert_allclose(volts[:3], [0, 3.3, 9.9])
    assert np.isnan(volts[3])


@pytest.mark.parametrize(
    "conversion, words, fields",
    [
        (chips.ms5611, ("1", "2"), 2),
        (chips.ms5611, ("1", "2", "3", "4", "5", "six"), 2),
        (chips.pt1000_divider, (), 1),
        (chips.pt1000_divider, ("a lot",), 1),
        (chips.pt1000_divider, ("0",), 1),
        (chips.pt1000_divider, ("nan",), 1),
        (chips.sht3x, ("1",), 2),
        (chips.mpu6050_motion, ("16",), 6),
        (chips.mpu6050_temperature, ("16",), 1),
        (chips.adc_divider, ("3300", "x"), 1),
    ],
)
def test_words_that_do_not_fit_a_chip_are_refused(conversion, words, fields):
    with pytest.raises(ValueError):
        conversion(words, *[counts(1000.0)] * fields)
