"""Water vapour against handbook values and a real sounding's own humidity."""

import csv
from pathlib import Path

import numpy as np
import pytest

from ground.physics import moisture

# Saturation pressure of water vapour, Pa: CRC Handbook of Chemistry and Physics, table "Vapor
# pressure of water from 0 to 370 degC" (values from memory).
HANDBOOK = [(0.0, 611.3), (10.0, 1228.1), (20.0, 2338.8), (30.0, 4245.5)]


@pytest.mark.parametrize("celsius, pressure_pa", HANDBOOK)
def test_saturation_pressure_is_the_handbooks(celsius, pressure_pa):
    # The WMO's short formula is itself up to 0.3 % low at 20 to 30 degC.
    assert moisture.saturation_vapour_pressure_pa(celsius + 273.15) == pytest.approx(pressure_pa, rel=4e-3)


def test_humidity_from_the_dew_point_is_what_a_real_radiosonde_reported():
    # ARM, Lamont 2019-01-01 (tests/data/soundings/SOURCES.md) carries both; its relative humidity
    # is a whole or tenth of a percent, its dew point 0.01 K. Compared in the range of the formula.
    path = Path(__file__).parents[2] / "data/soundings/lamont-oklahoma-2019-01-01-0532z.csv"
    with open(path, encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    temperature, dew_point, reported = (
        np.array([float(row[name]) for row in rows])
        for name in ("temperature_degC", "dew_point_degC", "relative_humidity_percent")
    )
    computed = moisture.relative_humidity_percent(temperature + 273.15, dew_point + 273.15)
    warm = (temperature > -40.0) & (dew_point > -45.0)
    assert warm.sum() > 500
    assert np.abs(computed - reported)[warm].max() < 0.5


def test_moist_air_is_as_dense_as_its_two_gases_together():
    pressure_pa, vapour_pa, temperature_k = 100000.0, 3000.0, 303.15
    # Molar gas constant CODATA 2018; molar masses of dry air (ISO 2533) and water.
    dry = (pressure_pa - vapour_pa) * 0.0289644 / (8.314462618 * temperature_k)
    vapour = vapour_pa * 0.01801528 / (8.314462618 * temperature_k)
    virtual_k = moisture.virtual_temperature_k(temperature_k, vapour_pa, pressure_pa)
    assert pressure_pa / (287.05287 * virtual_k) == pytest.approx(dry + vapour, rel=2e-5)
    assert moisture.virtual_temperature_k(280.0, 0.0, 90000.0) == 280.0
