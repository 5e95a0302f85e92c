"""From the true flight to what each device's registers would hold."""

import numpy as np

from ground.physics.moisture import saturation_vapour_pressure_pa
from onboard.simulator.world.bmp280_counts import EXAMPLE_WORDS, bmp280_counts
from onboard.simulator.world.chance import first_order_lag, generator
from onboard.simulator.world.flight import SAMPLE_S
from onboard.simulator.world.integrate import FlightError
from onboard.simulator.world.motion import motion_stream
from onboard.simulator.world.ms5611_counts import EXAMPLE_WORDS as MS5611_EXAMPLE_WORDS
from onboard.simulator.world.ms5611_counts import ms5611_counts
from onboard.simulator.world.power import battery_voltage_v
from onboard.simulator.world.stream import as_stream, stream_times_s
from onboard.simulator.world.thermometers import (
    lag_s,
    ntc_resistance_ohm,
    onewire_stream,
    outside_element_celsius,
    pt1000_resistance_ohm,
    tmp117_stream,
)

_CHIPS = {
    "barometer": ("ms5611", "bmp280", "none"),
    "outside_temperature": ("pt1000_divider", "ntc_divider", "tmp117", "ds18b20", "none"),
    "humidity": ("sht3x", "none"),
    "motion": ("mpu6050", "none"),
}

# The inside of the box: foam and the electronics' own heat. Common practice, no source.
_INDOORS_K = 293.15  # the box comes out of a room
_INSIDE_TIME_CONSTANT_S = 1200.0
_SELF_HEATING_K = 28.0

_HUMIDITY_CHIP_LAG_S = 8.0  # SHT3x data sheet: more than 2 s, on its board several times that
_HUMIDITY_FILM_LAG_S = 8.0  # SHT3x data sheet, response time 63 % of the relative humidity
_HUMIDITY_NOISE_PERCENT = 0.2
_HUMIDITY_NOISE_K = 0.04
_BAROMETER_NOISE_K = 0.005
_VOLTAGE_NOISE_V = 0.001
_RAIL_V = 3.3
_RAIL_DROPOUT_V = 0.15  # the regulator's smallest voltage drop
_RAIL_DIVIDER = 2.0


def device_streams(truth, mission, seed):
    """Make what the devices on the board read during the flight.

    truth: a Truth. mission: its Mission. seed: int, 0 or more; it decides the noise. Every
    stream has its own random numbers.
    Returns a dict of Streams: always "analog"; "barometer", "humidity", "motion", "outside_temperature" (a
    TMP117) and "onewire" (all DS18B20) if the mission has them; the functions that make them name the
    columns.
    Raises FlightError when the mission asks for a chip that is not simulated, or a number of its sections
    cannot be.
    """
    _check_chips(mission)
    _check_numbers(mission)
    inside_k = inside_temperature_k(truth)

    def random(purpose):
        return generator(seed, purpose)

    streams = {"analog": analog_stream(truth, inside_k, mission, random("analog"))}
    if mission.barometer.chip != "none":
        streams["barometer"] = barometer_stream(truth, inside_k, mission.barometer, random("barometer"))
    if mission.humidity.chip != "none":
        streams["humidity"] = humidity_stream(truth, random("humidity"))
    if mission.motion.chip != "none":
        streams["motion"] = motion_stream(truth, inside_k, mission.motion, random("motion"))
    outside = mission.outside_temperature
    if outside.chip == "tmp117":
        streams["outside_temperature"] = tmp117_stream(truth, outside, random("outside_temperature"))
    if outside.chip == "ds18b20" or mission.probes:
        streams["onewire"] = onewire_stream(truth, inside_k, mission, random("onewire"))
    return streams


def _check_chips(mission):
    for section, chips in _CHIPS.items():
        given = getattr(mission, section).chip
        if given not in chips:
            known = " or ".join(map(repr, chips))
            raise FlightError(f"{section}.chip {given!r} is not simulated; use {known}")
    for number, probe in enumerate(mission.probes, 1):
        if probe.chip != "ds18b20":
            raise FlightError(f"probes {number}: chip {probe.chip!r} is not simulated; use 'ds18b20'")


def _check_numbers(mission):
    outside = mission.outside_temperature
    if outside.chip == "ntc_divider":
        words = outside.steinhart_hart
        if len(words) != 3 or not (words[1] > 0 and words[2] > 0):
            raise FlightError("outside_temperature.steinhart_hart must be A, B, C, with B and C above zero")
    for section, key in (
        ("outside_temperature", "reference_ohm"),
        ("motion", "acceleration_range_g"),
        ("motion", "rate_range_deg_s"),
        ("battery", "capacity_mah"),
        ("battery", "divider_ratio"),
        ("battery", "reference_mv"),
    ):
        given = getattr(getattr(mission, section), key)
        if not given > 0:
            raise FlightError(f"{section}.{key} must be above zero, not {given}")


def inside_temperature_k(truth):
    """Temperature of board and battery at the truth's times, K, float array (n,).

    First order: it follows the outside air, warmed by the electronics, through the insulation.
    """
    target = truth.temperature_k + _SELF_HEATING_K
    return first_order_lag(target, SAMPLE_S, _INSIDE_TIME_CONSTANT_S, _INDOORS_K)


def barometer_words(barometer):
    """The calibration words of the simulated barometer: the mission's, or those of its data sheet's example.

    Raises FlightError if they are not what the chip has.
    """
    if barometer.chip == "none":
        return ()
    if barometer.chip == "bmp280":
        words = barometer.calibration or EXAMPLE_WORDS
        unsigned = (0, 3)  # T1 and P1
        if len(words) != 12 or not all(
            isinstance(word, int) and (0 < word < 65536 if i in unsigned else -32768 <= word < 32768)
            for i, word in enumerate(words)
        ) or not words[1]:
            raise FlightError(
                "barometer.calibration must be T1 to T3 and P1 to P9, twelve whole numbers: "
                "T1 and P1 from 1 to 65535, the others from -32768 to 32767"
            )
        return words
    words = barometer.calibration or MS5611_EXAMPLE_WORDS
    if len(words) != 6 or not all(isinstance(word, int) and 0 < word < 65536 for word in words):
        raise FlightError("barometer.calibration must be C1 to C6, six whole numbers from 1 to 65535")
    return words


def barometer_stream(truth, inside_k, barometer, random):
    """Make the barometer's raw counts, 100 ms, columns pressure (D1) and temperature (D2)."""
    words = barometer_words(barometer)
    period_ms = 100
    time_s = stream_times_s(truth, period_ms)
    pressure_pa = np.interp(time_s, truth.time_s, truth.pressure_pa)
    chip_k = np.interp(time_s, truth.time_s, inside_k)
    pressure_pa = pressure_pa + random.standard_normal(len(time_s)) * barometer.noise_pa
    chip_k = chip_k + random.standard_normal(len(time_s)) * _BAROMETER_NOISE_K
    if barometer.chip == "bmp280":
        return as_stream(period_ms, bmp280_counts(pressure_pa, chip_k, words), 0, 0xFFFFF)
    return as_stream(period_ms, ms5611_counts(pressure_pa, chip_k, words), 0, 0xFFFFFF)


def analog_stream(truth, inside_k, mission, random):
    """Make the voltages at the converter's pins, 100 ms, columns outside thermometer, battery, rail.

    Each is the share of the converter's reference in 1/16 of a 16-bit count: 0 is 0 V, 2**20
    would be the reference; a converter of fewer bits shifts it down.
    """
    period_ms = 100
    time_s = stream_times_s(truth, period_ms)
    thermometer, board = mission.outside_temperature, mission.battery
    reference_v = board.reference_mv / 1000.0

    outside = np.zeros(len(time_s))  # nothing at the pin
    if thermometer.chip in ("pt1000_divider", "ntc_divider"):
        celsius = outside_element_celsius(truth, thermometer, time_s, random)
        if thermometer.chip == "pt1000_divider":
            resistance_ohm = pt1000_resistance_ohm(celsius)
        else:
            resistance_ohm = ntc_resistance_ohm(celsius, thermometer.steinhart_hart)
        outside = resistance_ohm / (resistance_ohm + thermometer.reference_ohm)

    cell_k = np.interp(time_s, truth.time_s, inside_k)
    battery_v = battery_voltage_v(time_s, cell_k, board.cells, board.capacity_mah)
    rail_v = np.clip(battery_v - _RAIL_DROPOUT_V, 0.0, _RAIL_V)
    noise_v = random.standard_normal((2, len(time_s))) * _VOLTAGE_NOISE_V
    battery = (battery_v / board.divider_ratio + noise_v[0]) / reference_v
    rail = (rail_v / _RAIL_DIVIDER + noise_v[1]) / reference_v
    return as_stream(period_ms, [share * 2.0**20 for share in (outside, battery, rail)], 0, 2**20 - 1)


def humidity_stream(truth, random):
    """Make raw SHT3x words, 200 ms, columns S_T and S_RH.

    The chip follows the outside air's temperature with a lag, and its film the relative humidity
    at the chip's own temperature with a further one. In real cold the film slows down much
    more than this; the chip says nothing below -45 degC, where its word stays at 0.
    Source of the words: Sensirion, SHT3x-DIS data sheet, section 4.13.
    """
    period_ms = 200
    time_s = stream_times_s(truth, period_ms)
    density = truth.air_density_kg_m3
    chip_k = first_order_lag(
        truth.temperature_k, SAMPLE_S, lag_s(_HUMIDITY_CHIP_LAG_S, density), truth.temperature_k[0]
    )
    vapour_pa = truth.relative_humidity_percent / 100.0 * saturation_vapour_pressure_pa(truth.temperature_k)
    at_chip = 100.0 * vapour_pa / saturation_vapour_pressure_pa(chip_k)
    film_percent = first_order_lag(at_chip, SAMPLE_S, lag_s(_HUMIDITY_FILM_LAG_S, density), at_chip[0])
    noise = random.standard_normal((2, len(time_s)))
    celsius = np.interp(time_s, truth.time_s, chip_k) - 273.15 + noise[0] * _HUMIDITY_NOISE_K
    percent = np.interp(time_s, truth.time_s, film_percent) + noise[1] * _HUMIDITY_NOISE_PERCENT
    return as_stream(period_ms, [(celsius + 45.0) / 175.0 * 65535.0, percent / 100.0 * 65535.0], 0, 65535)
