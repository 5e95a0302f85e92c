"""Barometer, analog inputs and humidity, decoded by the tables of their standards."""

from dataclasses import replace

import numpy as np
import pytest
from ms5611_datasheet import compensated

from onboard.simulator.world.integrate import FlightError
from onboard.simulator.world.power import battery_voltage_v
from onboard.simulator.world.sensors import (
    device_streams,
    humidity_stream,
    inside_temperature_k,
    lag_s,
    pt1000_resistance_ohm,
)

# IEC 60751:2008, resistance of a Pt100 element in ohm, half a unit of the last figure 0.005.
PT100 = {
    -200: 18.52, -150: 39.72, -100: 60.26, -70: 72.33, -60: 76.33, -50: 80.31, -40: 84.27, -30: 88.22,
    -20: 92.16, -10: 96.09, 0: 100.00, 10: 103.90, 20: 107.79, 50: 119.40, 100: 138.51, 200: 175.86,
}  # fmt: skip


def at_rows(stream, truth, values):
    return np.interp(np.arange(len(stream.rows)) * stream.period_ms / 1000.0, truth.time_s, values)


def outside_celsius(stream, reference_ohm=1000.0):
    """Decode the thermometer with the IEC table alone, linear between its rows."""
    share = stream.rows[:, 0] / 2.0**20
    pt100_ohm = share / (1.0 - share) * reference_ohm / 10.0
    return np.interp(pt100_ohm, list(PT100.values()), list(PT100))


def test_every_stream_covers_the_flight(streams, truth):
    expected = {"barometer": (100, 2), "analog": (100, 3), "humidity": (200, 2), "motion": (50, 7)}
    assert {name: (s.period_ms, s.rows.shape[1]) for name, s in streams.items()} == expected
    for stream in streams.values():
        assert stream.rows.dtype == np.int32
        last_s = (len(stream.rows) - 1) * stream.period_ms / 1000.0
        assert truth.time_s[-1] - stream.period_ms / 1000.0 < last_s <= truth.time_s[-1] + 1e-6


def test_the_barometer_says_the_true_pressure(streams, truth, mission):
    stream = streams["barometer"]
    chosen = np.arange(0, len(stream.rows), 37)
    words = mission.barometer.calibration
    decoded = np.array([compensated(int(d1), int(d2), words) for d1, d2 in stream.rows[chosen]])
    error_pa = decoded[:, 1] + 0.5 - at_rows(stream, truth, truth.pressure_pa)[chosen]
    assert abs(error_pa.mean()) < 0.2
    assert error_pa.std() == pytest.approx(mission.barometer.noise_pa, rel=0.1)
    inside = at_rows(stream, truth, inside_temperature_k(truth))[chosen] - 273.15
    assert np.abs(decoded[:, 0] / 100.0 - inside).max() < 0.05
    # The demo flight must exercise both parts of the second order.
    assert decoded[:, 0].min() < -1500


@pytest.mark.parametrize("celsius, pt100_ohm", PT100.items())
def test_the_thermometer_has_the_resistance_of_iec_60751(celsius, pt100_ohm):
    assert pt1000_resistance_ohm(celsius) == pytest.approx(10.0 * pt100_ohm, abs=0.051)


def test_the_thermometer_at_rest_says_the_air_temperature(streams, truth, mission):
    waiting = outside_celsius(streams["analog"])[300:1700]
    assert waiting.mean() + 273.15 == pytest.approx(truth.temperature_k[0], abs=0.03)
    assert waiting.std() == pytest.approx(mission.outside_temperature.noise_k, rel=0.1)


def test_the_thermometer_lags_more_in_thin_air(streams, truth):
    # A first-order sensor is one time constant late on a ramp: lateness = error / rate of the air.
    air = at_rows(streams["analog"], truth, truth.temperature_k) - 273.15
    late_k = outside_celsius(streams["analog"]) - air

    def lateness_s(low_m, high_m):
        climbing = (truth.time_s > 200.0) & (truth.time_s < truth.burst.time_s)
        part = climbing & (truth.height_m > low_m) & (truth.height_m < high_m)
        return -late_k[part].mean() / np.gradient(air, 0.1)[part].mean()

    assert lateness_s(4500.0, 7500.0) == pytest.approx(6.0 * (1.225 / 0.65) ** 0.5, rel=0.2)
    assert lateness_s(23600.0, 26300.0) > 2.0 * lateness_s(4500.0, 7500.0)
    assert lag_s(6.0, np.array([1.225]))[0] == 6.0
    assert lag_s(6.0, np.array([1.225 / 4.0]))[0] == 12.0
    assert lag_s(6.0, np.array([1e-6]))[0] == 36.0


def test_the_battery_sags_in_the_cold_and_recovers(streams, truth, mission):
    volts = streams["analog"].rows[:, 1] / 2.0**20 * 3.3 * mission.battery.divider_ratio
    coldest = int(inside_temperature_k(truth).argmin())
    assert 4.8 < volts[:100].mean() < 5.4  # three fresh cells
    assert volts[coldest : coldest + 100].mean() < volts[:100].mean() - 0.3
    assert volts[-100:].mean() > volts[coldest : coldest + 100].mean() + 0.1
    assert volts.min() > 3 * 0.9


def test_the_rail_is_half_of_3300_mv(streams):
    assert streams["analog"].rows[:, 2].mean() == pytest.approx(2**20 * 0.5, rel=1e-3)


def test_a_battery_is_empty_after_its_capacity():
    # 0.6 W at 3 times 1.55 V is 129 mA: 1000 mAh last 7.75 hours.
    hours = np.array([0.0, 4.0, 7.0, 7.75, 20.0])
    volts = battery_voltage_v(hours * 3600.0, np.full(5, 294.15), 3, 1000.0)
    assert np.all(np.diff(volts) <= 0.0)
    assert volts[0] > 5.0 > volts[2] > 3.9 > volts[3]
    colder = battery_voltage_v(hours * 3600.0, np.full(5, 254.15), 3, 1000.0)
    # 40 K colder is four times the resistance: 3 times 0.15 ohm more a cell, at 129 mA.
    assert (volts - colder)[:2] == pytest.approx(3 * 0.129 * 0.45, rel=0.01)


def test_humidity_words_decode_to_the_air(streams, truth):
    # SHT3x-DIS data sheet, section 4.13: T = -45 + 175 S / 65535, RH = 100 S / 65535.
    stream = streams["humidity"]
    celsius = -45.0 + 175.0 * stream.rows[:, 0] / 65535.0
    percent = 100.0 * stream.rows[:, 1] / 65535.0
    waiting = slice(50, 850)
    assert celsius[waiting].mean() + 273.15 == pytest.approx(truth.temperature_k[0], abs=0.02)
    assert percent[waiting].mean() == pytest.approx(truth.relative_humidity_percent[0], abs=0.1)
    air = at_rows(stream, truth, truth.temperature_k) - 273.15
    assert np.all(stream.rows[air < -55.0, 0] == 0)
    assert np.all(stream.rows[air > -30.0, 0] > 0)


def test_the_humidity_film_follows_a_step_to_63_percent_in_its_response_time(truth):
    # SHT3x-DIS data sheet: response time to 63 % of a step in relative humidity 8 s, in dense air.
    count = 1200
    same = {name: values[:count] for name, values in vars(truth).items() if isinstance(values, np.ndarray)}
    same["temperature_k"] = np.full(count, 283.15)
    same["air_density_kg_m3"] = np.full(count, 1.225)
    same["relative_humidity_percent"] = np.where(np.arange(count) < 600, 20.0, 70.0)
    stream = humidity_stream(replace(truth, **same), np.random.default_rng(1))
    percent = 100.0 * stream.rows[:, 1] / 65535.0
    assert percent[:300].mean() == pytest.approx(20.0, abs=0.1)
    assert percent[300 + 40] == pytest.approx(20.0 + 50.0 * 0.632, abs=1.5)
    assert percent[-20:].mean() == pytest.approx(70.0, abs=0.2)


def test_the_inside_stays_warmer_than_the_outside_and_smoother(truth):
    inside = inside_temperature_k(truth)
    assert inside.min() > truth.temperature_k.min() + 15.0
    assert np.abs(np.diff(inside)).max() < np.abs(np.diff(truth.temperature_k)).max()


def test_the_same_seed_gives_the_same_bytes_and_another_other_ones(streams, truth, mission):
    again, other = device_streams(truth, mission, 1), device_streams(truth, mission, 2)
    for name, stream in streams.items():
        assert stream.rows.tobytes() == again[name].rows.tobytes(), name
        assert stream.rows.tobytes() != other[name].rows.tobytes(), name


def test_one_streams_noise_does_not_depend_on_another_streams_settings(streams, truth, mission):
    noisy = replace(mission, barometer=replace(mission.barometer, noise_pa=9.0))
    changed = device_streams(truth, noisy, 1)
    assert changed["barometer"].rows.tobytes() != streams["barometer"].rows.tobytes()
    for name in ("analog", "humidity", "motion"):
        assert changed[name].rows.tobytes() == streams[name].rows.tobytes(), name


@pytest.mark.parametrize(
    "section, change, words",
    [
        ("barometer", {"calibration": (1, 2, 3)}, "barometer.calibration must be C1 to C6"),
        ("barometer", {"calibration": (40127, 36924, 23317, 23282, 33464, 70000)}, "from 1 to 65535"),
        ("barometer", {"chip": "other"}, "barometer.chip 'other' is not simulated; use 'ms5611'"),
        ("battery", {"capacity_mah": 0.0}, "battery.capacity_mah must be above zero"),
        ("motion", {"rate_range_deg_s": -250}, "motion.rate_range_deg_s must be above zero"),
    ],
)
def test_a_board_that_cannot_be_simulated_says_why(truth, mission, section, change, words):
    bad = replace(mission, **{section: replace(getattr(mission, section), **change)})
    with pytest.raises(FlightError, match=words):
        device_streams(truth, bad, 1)
