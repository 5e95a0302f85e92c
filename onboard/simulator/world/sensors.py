"""From the true flight to what each device's registers would hold."""

import numpy as np

from ground.physics.moisture import saturation_vapour_pressure_pa
from onboard.simulator.world.balloon import FlightError
from onboard.simulator.world.chance import first_order_lag, generator
from onboard.simulator.world.flight import SAMPLE_S
from onboard.simulator.world.motion import motion_stream
from onboard.simulator.world.ms5611_counts import ms5611_counts
from onboard.simulator.world.power import battery_voltage_v
from onboard.simulator.world.stream import as_stream, stream_times_s

# The inside of the box: foam and the electronics' own heat. Common practice, no source.
_INDOORS_K = 293.15  # the box comes out of a room
_INSIDE_TIME_CONSTANT_S = 1200.0
_SELF_HEATING_K = 28.0

_STANDARD_DENSITY_KG_M3 = 1.225  # ISO 2533, sea level
_SLOWEST_FACTOR = 6.0
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
    Returns a dict of Streams: "barometer", "analog", "humidity", "motion"; the functions that
    make them name the columns. Raises FlightError when the mission asks for a chip that is
    not simulated, or a number of its sections cannot be.
    """
    for section, chip in (
        ("barometer", "ms5611"),
        ("outside_temperature", "pt1000_divider"),
        ("humidity", "sht3x"),
        ("motion", "mpu6050"),
    ):
        given = getattr(mission, section).chip
        if given != chip:
            raise FlightError(f"{section}.chip {given!r} is not simulated; use {chip!r}")
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
    inside_k = inside_temperature_k(truth)
    return {
        "barometer": barometer_stream(truth, inside_k, mission.barometer, generator(seed, "barometer")),
        "analog": analog_stream(truth, inside_k, mission, generator(seed, "analog")),
        "humidity": humidity_stream(truth, generator(seed, "humidity")),
        "motion": motion_stream(truth, inside_k, mission.motion, generator(seed, "motion")),
    }


def inside_temperature_k(truth):
    """Temperature of board and battery at the truth's times, K, float array (n,).

    First order: it follows the outside air, warmed by the electronics, through the insulation.
    """
    target = truth.temperature_k + _SELF_HEATING_K
    return first_order_lag(target, SAMPLE_S, _INSIDE_TIME_CONSTANT_S, _INDOORS_K)


def lag_s(time_constant_s, air_density_kg_m3):
    """Time constant of a sensor in thinner air.

    Convection over a small body goes about as the square root of the Reynolds number, and so of
    the density; the factor is limited because conduction and radiation remain. Simple, no source.
    """
    factor = np.sqrt(_STANDARD_DENSITY_KG_M3 / air_density_kg_m3)
    return time_constant_s * np.clip(factor, 1.0, _SLOWEST_FACTOR)


def barometer_stream(truth, inside_k, barometer, random):
    """Make raw MS5611 counts, 100 ms, columns D1 (pressure) and D2 (temperature)."""
    words = barometer.calibration
    if len(words) != 6 or not all(isinstance(word, int) and 0 < word < 65536 for word in words):
        raise FlightError("barometer.calibration must be C1 to C6, six whole numbers from 1 to 65535")
    period_ms = 100
    time_s = stream_times_s(truth, period_ms)
    pressure_pa = np.interp(time_s, truth.time_s, truth.pressure_pa)
    chip_k = np.interp(time_s, truth.time_s, inside_k)
    pressure_pa = pressure_pa + random.standard_normal(len(time_s)) * barometer.noise_pa
    chip_k = chip_k + random.standard_normal(len(time_s)) * _BAROMETER_NOISE_K
    return as_stream(period_ms, ms5611_counts(pressure_pa, chip_k, words), 0, 0xFFFFFF)


def pt1000_resistance_ohm(celsius):
    """Resistance of a PT1000 element: scalar or array in degC, -200 to 850. IEC 60751:2008."""
    celsius = np.asarray(celsius, float)
    cold = np.minimum(celsius, 0.0)
    return 1000.0 * (
        1.0 + 3.9083e-3 * celsius - 5.775e-7 * celsius**2 - 4.183e-12 * (cold - 100.0) * cold**3
    )


def analog_stream(truth, inside_k, mission, random):
    """Make the voltages at the converter's pins, 100 ms, columns outside thermometer, battery, rail.

    Each is the share of the converter's reference in 1/16 of a 16-bit count: 0 is 0 V, 2**20
    would be the reference; a converter of fewer bits shifts it down.
    """
    period_ms = 100
    time_s = stream_times_s(truth, period_ms)
    thermometer, board = mission.outside_temperature, mission.battery
    reference_v = board.reference_mv / 1000.0

    element_k = first_order_lag(
        truth.temperature_k,
        SAMPLE_S,
        lag_s(thermometer.time_constant_s, truth.air_density_kg_m3),
        truth.temperature_k[0],
    )
    element_k = np.interp(time_s, truth.time_s, element_k)
    element_k = element_k + random.standard_normal(len(time_s)) * thermometer.noise_k
    resistance_ohm = pt1000_resistance_ohm(element_k - 273.15)
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
