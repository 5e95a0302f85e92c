"""Thermometers and barometers that the demo does not fly, decoded by the tables of their data sheets."""

from dataclasses import replace

import numpy as np
import pytest

from ground.mission.sections import Probe
from onboard.simulator.world.bmp280_counts import EXAMPLE_WORDS
from onboard.simulator.world.integrate import FlightError
from onboard.simulator.world.sensors import device_streams, inside_temperature_k
from onboard.simulator.world.thermometers import ntc_resistance_ohm

SRS = (2.108508173e-3, 7.979204727e-5, 6.535076315e-7)  # thermistor calculator, default example
ROM = "28ff641d8fdf18c1"


def with_outside(mission, **settings):
    return replace(mission, outside_temperature=replace(mission.outside_temperature, **settings))


@pytest.mark.parametrize("ohm, celsius", [(25000, 5.0), (10000, 25.0), (4000, 45.0)])
def test_the_thermistor_has_the_resistance_of_the_calculators_example(ohm, celsius):
    assert ntc_resistance_ohm(np.array([celsius]), SRS)[0] == pytest.approx(ohm, rel=1e-6)


def test_the_thermistor_is_solved_for_every_cold():
    celsius = np.arange(-95.0, 100.0, 0.5)
    logarithm = np.log(ntc_resistance_ohm(celsius, SRS))
    again = 1.0 / (SRS[0] + SRS[1] * logarithm + SRS[2] * logarithm**3) - 273.15
    np.testing.assert_allclose(again, celsius, atol=1e-9)


def waiting_celsius(stream, celsius):
    return celsius[30_000 // stream.period_ms : 170_000 // stream.period_ms]


def test_a_thermistor_at_rest_says_the_air_temperature(truth, mission):
    warm = with_outside(mission, chip="ntc_divider", steinhart_hart=SRS, reference_ohm=10000.0)
    stream = device_streams(truth, warm, 1)["analog"]
    share = stream.rows[:, 0] / 2.0**20
    logarithm = np.log(share / (1.0 - share) * 10000.0)
    celsius = 1.0 / (SRS[0] + SRS[1] * logarithm + SRS[2] * logarithm**3) - 273.15
    at_rest = waiting_celsius(stream, celsius)
    assert at_rest.mean() + 273.15 == pytest.approx(truth.temperature_k[0], abs=0.03)
    assert at_rest.std() == pytest.approx(mission.outside_temperature.noise_k, rel=0.1)


def test_a_tmp117_at_rest_says_the_air_temperature(truth, mission):
    # SNOSD82D, 7.3.3: 7.8125 mdegC a count.
    streams = device_streams(truth, with_outside(mission, chip="tmp117"), 1)
    stream = streams["outside_temperature"]
    at_rest = waiting_celsius(stream, stream.rows[:, 0] * 0.0078125)
    assert at_rest.mean() + 273.15 == pytest.approx(truth.temperature_k[0], abs=0.03)
    assert at_rest.std() == pytest.approx(mission.outside_temperature.noise_k, rel=0.1)
    assert np.all(streams["analog"].rows[:, 0] == 0)  # nothing at the pin


def test_the_thermometers_of_the_bus_are_outside_and_in_the_box(truth, mission):
    # Data sheet, table 1: 1/16 degC a count; it measures from -55 to 125 degC.
    probes = (Probe("battery", ROM), Probe("camera", ROM))
    wired = replace(with_outside(mission, chip="ds18b20", rom=ROM), probes=probes)
    stream = device_streams(truth, wired, 1)["onewire"]
    assert stream.rows.shape[1] == 3
    outside, battery, camera = (stream.rows / 16.0).T
    assert waiting_celsius(stream, outside).mean() + 273.15 == pytest.approx(truth.temperature_k[0], abs=0.03)
    assert outside.min() == -55.0 and truth.temperature_k.min() < 273.15 - 60.0
    inside = inside_temperature_k(truth) - 273.15
    assert inside.min() - 2.0 < battery.min() < inside.min() + 2.0
    assert outside.min() < camera.min() < battery.min() - 1.0


def test_a_bmp280s_stream_is_of_the_true_pressure(truth, mission):
    from test_bmp280_counts import compensated

    barometer = replace(mission.barometer, chip="bmp280", calibration=())
    stream = device_streams(truth, replace(mission, barometer=barometer), 1)["barometer"]
    _, pressure_pa = compensated(stream.rows[:, 0], stream.rows[:, 1], EXAMPLE_WORDS)
    true_pa = np.interp(np.arange(len(stream.rows)) * 0.1, truth.time_s, truth.pressure_pa)
    assert abs((pressure_pa - true_pa).mean()) < 0.1
    assert (pressure_pa - true_pa).std() == pytest.approx(barometer.noise_pa, rel=0.05)


def test_what_is_not_on_the_board_has_no_stream(truth, mission):
    bare = with_outside(mission, chip="none")
    for section in ("barometer", "humidity", "motion"):
        bare = replace(bare, **{section: replace(getattr(bare, section), chip="none")})
    assert set(device_streams(truth, bare, 1)) == {"analog"}


def test_another_thermometer_leaves_the_noise_of_the_other_streams_as_it_was(streams, truth, mission):
    changed = device_streams(truth, with_outside(mission, chip="tmp117"), 1)
    for name in ("barometer", "humidity", "motion"):
        assert changed[name].rows.tobytes() == streams[name].rows.tobytes(), name


@pytest.mark.parametrize(
    "section, change, words",
    [
        ("barometer", {"chip": "bmp280", "calibration": (1, 2, 3)}, "must be T1 to T3 and P1 to P9"),
        ("barometer", {"chip": "bmp280", "calibration": (70000, *EXAMPLE_WORDS[1:])}, "P1 from 1 to 65535"),
        ("barometer", {"chip": "bmp280", "calibration": (*EXAMPLE_WORDS[:-1], 32768)}, "-32768 to 32767"),
        ("outside_temperature", {"chip": "ntc_divider"}, "steinhart_hart must be A, B, C"),
        ("outside_temperature", {"chip": "ntc_divider", "steinhart_hart": (1e-3, 0.0, 1e-7)}, "above zero"),
        ("outside_temperature", {"chip": "lm35"}, "outside_temperature.chip 'lm35' is not simulated"),
    ],
)
def test_a_sensor_that_cannot_be_simulated_says_why(truth, mission, section, change, words):
    bad = replace(mission, **{section: replace(getattr(mission, section), **change)})
    with pytest.raises(FlightError, match=words):
        device_streams(truth, bad, 1)
