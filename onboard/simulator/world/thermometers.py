"""Thermometers: how warm their elements are, and what they say then."""

import numpy as np

from onboard.simulator.world.chance import first_order_lag
from onboard.simulator.world.flight import SAMPLE_S
from onboard.simulator.world.stream import as_stream, stream_times_s

_STANDARD_DENSITY_KG_M3 = 1.225  # ISO 2533, sea level
_SLOWEST_FACTOR = 6.0
_TMP117_DEGC = 1.0 / 128.0  # SNOSD82D, 7.3.3
_DS18B20_DEGC = 1.0 / 16.0  # 19-7487, table 1
_DS18B20_RANGE = (-55 * 16, 125 * 16)
# Probes hang in the box, each farther from the warm electronics than the one before. Invented, no source.
_PROBE_LAG_S = 30.0
_PROBE_SHARE = 0.8  # of the warmth of the one before
_PROBE_OFFSET_K = 0.15  # standard deviation; data sheet: within 0.5 degC
_PROBE_NOISE_K = 0.02


def lag_s(time_constant_s, air_density_kg_m3):
    """Time constant of a sensor in thinner air.

    Convection over a small body goes about as the square root of the Reynolds number, and so of
    the density; the factor is limited because conduction and radiation remain. Simple, no source.
    """
    factor = np.sqrt(_STANDARD_DENSITY_KG_M3 / air_density_kg_m3)
    return time_constant_s * np.clip(factor, 1.0, _SLOWEST_FACTOR)


def outside_element_celsius(truth, thermometer, time_s, random):
    """Temperature of the outside thermometer's element with lag and noise: degC, float array as time_s."""
    element_k = first_order_lag(
        truth.temperature_k,
        SAMPLE_S,
        lag_s(thermometer.time_constant_s, truth.air_density_kg_m3),
        truth.temperature_k[0],
    )
    element_k = np.interp(time_s, truth.time_s, element_k)
    return element_k + random.standard_normal(len(time_s)) * thermometer.noise_k - 273.15


def pt1000_resistance_ohm(celsius):
    """Resistance of a PT1000 element: scalar or array in degC, -200 to 850. IEC 60751:2008."""
    celsius = np.asarray(celsius, float)
    cold = np.minimum(celsius, 0.0)
    return 1000.0 * (
        1.0 + 3.9083e-3 * celsius - 5.775e-7 * celsius**2 - 4.183e-12 * (cold - 100.0) * cold**3
    )


def ntc_resistance_ohm(celsius, steinhart_hart):
    """Resistance of an NTC thermistor: array in degC.

    steinhart_hart: A, B, C of 1/T = A + B L + C L^3, L = ln(R / ohm), T in K; B and C above zero.
    Source: Steinhart and Hart, Deep-Sea Research 15, 1968 (from memory); solved for L by Newton's method.
    """
    a, b, c = steinhart_hart
    wanted = 1.0 / (np.asarray(celsius, float) + 273.15)
    logarithm = np.full_like(wanted, 10.0)
    for _ in range(30):
        logarithm -= (a + b * logarithm + c * logarithm**3 - wanted) / (b + 3.0 * c * logarithm**2)
    return np.exp(logarithm)


def tmp117_stream(truth, thermometer, random):
    """Make the words of a TMP117's result register, 100 ms, a column. Below -55 degC no sheet backs them."""
    period_ms = 100
    celsius = outside_element_celsius(truth, thermometer, stream_times_s(truth, period_ms), random)
    return as_stream(period_ms, [celsius / _TMP117_DEGC], -32768, 32767)


def onewire_stream(truth, inside_k, mission, random):
    """Make the words of the temperature registers of all DS18B20, 500 ms.

    A column each: the outside thermometer first if it is one, then the probes in the mission's order.
    """
    period_ms = 500
    time_s = stream_times_s(truth, period_ms)
    columns = []
    if mission.outside_temperature.chip == "ds18b20":
        columns.append(outside_element_celsius(truth, mission.outside_temperature, time_s, random))
    for number in range(len(mission.probes)):
        place_k = truth.temperature_k + (inside_k - truth.temperature_k) * _PROBE_SHARE**number
        element_k = first_order_lag(place_k, SAMPLE_S, _PROBE_LAG_S, place_k[0])
        probe_k = np.interp(time_s, truth.time_s, element_k) + random.standard_normal() * _PROBE_OFFSET_K
        columns.append(probe_k + random.standard_normal(len(time_s)) * _PROBE_NOISE_K - 273.15)
    return as_stream(period_ms, [celsius / _DS18B20_DEGC for celsius in columns], *_DS18B20_RANGE)
