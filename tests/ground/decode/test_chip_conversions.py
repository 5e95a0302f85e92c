"""Conversions against the chips' data sheets and IEC 60751."""

import numpy as np
import pytest

from ground.decode import chips, thermometers

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
    found = thermometers.platinum_temperature_degc(np.array([ohm]), 100.0)[0]
    assert abs(found - celsius) <= 0.005 / ohm_per_degc


def test_platinum_inverts_the_callendar_van_dusen_equation():
    # IEC 60751: R = R0 (1 + A t + B t^2 + C (t - 100) t^3), C only below 0 degC.
    t = np.linspace(-200, 850, 2101)
    ohm = 1000 * (1 + 3.9083e-3 * t - 5.775e-7 * t**2 + np.where(t < 0, -4.183e-12 * (t - 100) * t**3, 0))
    found = thermometers.platinum_temperature_degc(ohm[1:-1], 1000.0)
    np.testing.assert_allclose(found, t[1:-1], atol=1e-9)


def test_a_divider_at_half_scale_reads_its_reference():
    # R = reference at half scale; a PT1000 of 1000 ohm is at 0 degC by definition.
    (celsius,) = thermometers.pt1000_divider(("1000",), counts(65535 / 2))
    assert abs(celsius[0]) < 1e-9


def test_a_short_and_a_broken_wire_read_as_missing():
    (celsius,) = thermometers.pt1000_divider(("1000",), counts(0, 65534, 65535, np.nan))
    assert np.isnan(celsius).all()


# Bosch BST-BMP280-DS001, section 3.12: example values.
BMP280_WORDS = tuple("27504 26435 -1000 36477 -10685 3024 2855 140 -7 15500 -14600 6000".split())
BMP280_P, BMP280_T = 415148, 519888


def test_the_bmp280_example_of_the_data_sheet_is_met():
    pressure_pa, temperature_degc = chips.bmp280(BMP280_WORDS, counts(BMP280_P), counts(BMP280_T))
    assert round(temperature_degc[0], 2) == 25.08
    assert round(pressure_pa[0], 2) == 100653.27
    # The sheet's 64-bit integers (section 3.11.3, worked out for the same example) give 25767233 / 256 Pa.
    assert pressure_pa[0] == pytest.approx(25767233 / 256, abs=0.02)


def _bmp280_in_64_bit_integers(adc_p, adc_t, words):
    """(hundredths of a degC, Pa in Q24.8) by section 3.11.3, written down again with Python's integers."""
    t1, t2, t3, p1, p2, p3, p4, p5, p6, p7, p8, p9 = [int(word) for word in words]
    var1 = (((adc_t >> 3) - (t1 << 1)) * t2) >> 11
    var2 = (((((adc_t >> 4) - t1) * ((adc_t >> 4) - t1)) >> 12) * t3) >> 14
    t_fine = var1 + var2
    var1 = t_fine - 128000
    var2 = var1 * var1 * p6
    var2 = var2 + ((var1 * p5) << 17)
    var2 = var2 + (p4 << 35)
    var1 = ((var1 * var1 * p3) >> 8) + ((var1 * p2) << 12)
    var1 = (((1 << 47) + var1) * p1) >> 33
    p = 1048576 - adc_p
    p = (((p << 31) - var2) * 3125) // var1
    var1 = (p9 * (p >> 13) * (p >> 13)) >> 25
    var2 = (p8 * p) >> 19
    return (t_fine * 5 + 128) >> 8, ((p + var1 + var2) >> 8) + (p7 << 4)


def test_the_bmp280_agrees_with_the_data_sheets_integers_from_cold_to_warm():
    assert _bmp280_in_64_bit_integers(BMP280_P, BMP280_T, BMP280_WORDS) == (2508, 25767233)
    rng = np.random.default_rng(280)
    adc_p, adc_t = rng.integers(250_000, 980_000, 500), rng.integers(330_000, 600_000, 500)
    pressure_pa, temperature_degc = chips.bmp280(BMP280_WORDS, adc_p.astype(float), adc_t.astype(float))
    seen = np.isfinite(pressure_pa)
    assert seen.sum() > 400 and temperature_degc[seen].min() < -30 and temperature_degc[seen].max() > 45
    for i in np.flatnonzero(seen):
        hundredths, q24_8 = _bmp280_in_64_bit_integers(int(adc_p[i]), int(adc_t[i]), BMP280_WORDS)
        assert temperature_degc[i] * 100 == pytest.approx(hundredths, abs=1)
        assert pressure_pa[i] == pytest.approx(q24_8 / 256, abs=2)  # the integers round t_fine


@pytest.mark.parametrize("adc_p, adc_t, has_temperature", [
    (np.nan, BMP280_T, True), (2**32 - 1, BMP280_T, True), (2**20, BMP280_T, True), (BMP280_P, np.nan, False),
    (BMP280_P, 0, False), (BMP280_P, 2**20 - 1, False),
])  # fmt: skip
def test_the_bmp280_without_a_sound_reading_has_no_pressure(adc_p, adc_t, has_temperature):
    pressure_pa, temperature_degc = chips.bmp280(BMP280_WORDS, counts(adc_p), counts(adc_t))
    assert np.isnan(pressure_pa[0]) and np.isfinite(temperature_degc[0]) == has_temperature


def test_a_bmp280_of_zeros_gives_nothing():
    pressure_pa, temperature_degc = chips.bmp280(("0",) * 12, counts(BMP280_P), counts(BMP280_T))
    assert np.isnan(pressure_pa[0])


# TI, TMP117 data sheet SNOSD82D, table 7-1. -256 degC is the value before the first conversion, and 255.99
# degC is beyond what the chip can measure.
TMP117_ROWS = [
    (0xF380, -25.0), (0xFFF0, -0.125), (0xFFFF, -0.0078125), (0x0000, 0.0), (0x0001, 0.0078125),
    (0x0010, 0.125),
    (0x0080, 1.0), (0x0C80, 25.0), (0x3200, 100.0), (0x8000, np.nan), (0x7FFF, np.nan),
]  # fmt: skip


@pytest.mark.parametrize("word, celsius", TMP117_ROWS)
def test_words_of_the_tmp117s_table_convert(word, celsius):
    (found,) = thermometers.tmp117((), counts(word ^ 0x8000))
    np.testing.assert_array_equal(found, [celsius])


# Maxim, DS18B20 data sheet, table 1. What the board takes for "no conversion yet", 0x0550, is 85 degC by the
# table.
DS18B20_ROWS = [
    (0x07D0, 125.0), (0x0550, 85.0), (0x0191, 25.0625), (0x00A2, 10.125), (0x0008, 0.5), (0x0000, 0.0),
    (0xFFF8, -0.5),
    (0xFF5E, -10.125), (0xFE6F, -25.0625), (0xFC90, -55.0),
]  # fmt: skip
ROM = ("28ff641d8fdf18c1",)


@pytest.mark.parametrize("word, celsius", DS18B20_ROWS)
def test_words_of_the_ds18b20s_table_convert(word, celsius):
    (found,) = thermometers.ds18b20(ROM, counts(word ^ 0x8000))
    (signed,) = thermometers.ds18b20_signed(ROM, counts(word - 65536 if word & 0x8000 else word))
    assert found[0] == signed[0] == celsius


def test_a_missing_word_of_a_digital_thermometer_is_missing():
    signed = thermometers.ds18b20_signed
    for conversion, words in ((thermometers.tmp117, ()), (thermometers.ds18b20, ROM), (signed, ROM)):
        assert np.isnan(conversion(words, counts(np.nan))[0]).all()
    assert np.isnan(thermometers.ds18b20(ROM, counts(0, 65535))[0]).all()  # beyond -55 and 125 degC


# SRS thermistor calculator, default example: 25000 ohm at 5, 10000 at 25 and 4000 at 45 degC give these A, B,
# C.
SRS_WORDS = ("2.108508173e-3", "7.979204727e-5", "6.535076315e-7")


@pytest.mark.parametrize("ohm, celsius", [(25000, 5.0), (10000, 25.0), (4000, 45.0)])
def test_the_thermistor_of_the_calculators_example_converts(ohm, celsius):
    for reference in (1000.0, 10000.0, 47000.0):
        word = 65535 * ohm / (ohm + reference)
        (found,) = thermometers.ntc_divider((str(reference), *SRS_WORDS), counts(word))
        assert found[0] == pytest.approx(celsius, abs=1e-4)  # the coefficients have ten figures


def _vishay_ohm(celsius):
    """Vishay document 29049, NTCLE100E3103, parameter table: R = 10000 exp(A + B/T + C/T2 + D/T3)."""
    kelvin = celsius + 273.15
    return 10000 * np.exp(-14.6337 + 4791.842 / kelvin - 115334 / kelvin**2 - 3.730535e6 / kelvin**3)


def test_a_real_thermistor_converts_in_flight_cold():
    # Coefficients from three points of the maker's own curve: -55 degC 945615 ohm, 0 degC 32554.8, 25 degC
    # 10000.2.
    assert [round(_vishay_ohm(t)) for t in (-55.0, 0.0, 25.0)] == [945615, 32555, 10000]
    t = np.array([-55.0, 0.0, 25.0]) + 273.15
    logarithm = np.log(_vishay_ohm(t - 273.15))
    a, b, c = np.linalg.solve(np.column_stack([np.ones(3), logarithm, logarithm**3]), 1 / t).tolist()
    celsius = np.arange(-60.0, 41.0, 5.0)
    ohm = _vishay_ohm(celsius)
    (found,) = thermometers.ntc_divider(("33000", repr(a), repr(b), repr(c)), 65535 * ohm / (ohm + 33000))
    # A two-point beta formula is 4.2 degC too warm at -55 degC.
    assert np.abs(found - celsius).max() < 0.01


def test_a_shorted_or_broken_thermistor_reads_as_missing():
    (found,) = thermometers.ntc_divider(("10000", *SRS_WORDS), counts(0, 1, 65534, 65535, np.nan))
    assert np.isnan(found).all()


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
        (thermometers.pt1000_divider, (), 1),
        (thermometers.pt1000_divider, ("a lot",), 1),
        (thermometers.pt1000_divider, ("0",), 1),
        (thermometers.pt1000_divider, ("nan",), 1),
        (chips.ms5611, ("1", "2", "3", "4", "5", "9" * 30), 2),
        (chips.bmp280, BMP280_WORDS[:-1], 2),
        (chips.bmp280, (*BMP280_WORDS[:-1], "-"), 2),
        (chips.bmp280, (*BMP280_WORDS[:-1], "9" * 400), 2),
        (thermometers.tmp117, ("1",), 1),
        (thermometers.ds18b20, (), 1),
        (thermometers.ds18b20, ("28ff64",), 1),
        (thermometers.ds18b20, ("28ff641d8fdf18zz",), 1),
        (thermometers.ds18b20, (*ROM, "1"), 1),
        (thermometers.ntc_divider, ("10000",), 1),
        (thermometers.ntc_divider, ("10000", "x", "1e-4", "1e-7"), 1),
        (thermometers.ntc_divider, ("10000", "1e-3", "nan", "1e-7"), 1),
        (thermometers.ntc_divider, ("10000", "1e-3", "-1e-4", "1e-7"), 1),
        (thermometers.ntc_divider, ("0", "1e-3", "1e-4", "1e-7"), 1),
        (chips.sht3x, ("1",), 2),
        (chips.mpu6050_motion, ("16",), 6),
        (chips.mpu6050_temperature, ("16",), 1),
        (chips.adc_divider, ("3300", "x"), 1),
    ],
)
def test_words_that_do_not_fit_a_chip_are_refused(conversion, words, fields):
    with pytest.raises(ValueError):
        conversion(words, *[counts(1000.0)] * fields)
