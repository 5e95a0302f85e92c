"""Which fields a sensor's role takes, which chip converts them, and which columns come out."""

from dataclasses import dataclass

import numpy as np

from ground.decode import chips
from ground.decode.columns import Column
from ground.physics.atmosphere import pressure_height_m


@dataclass(frozen=True)
class Role:
    kind: str
    fields: tuple  # the counts that go in, in the order of the chip's function
    columns: tuple  # (name, decimals) of what comes out


# Decimals: a count of each sensor moves the last one or two of them.
ROLES = {
    "barometer": Role(
        "pressure",
        ("pressure_counts", "temperature_counts"),
        (("pressure_hPa", 3), ("barometer_temperature_degC", 2), ("pressure_height_m", 1)),
    ),
    "outside_temperature": Role("air", ("temperature_counts",), (("temperature_degC", 3),)),
    "humidity": Role(
        "air",
        ("humidity_temperature_counts", "humidity_counts"),
        (("humidity_chip_temperature_degC", 3), ("relative_humidity_percent", 3)),
    ),
    "motion": Role(
        "motion",
        tuple(f"{q}_{axis}_counts" for q in ("acceleration", "rate") for axis in "xyz"),
        tuple((f"acceleration_{axis}_m_s2", 4) for axis in "xyz")
        + tuple((f"rate_{axis}_deg_s", 3) for axis in "xyz"),
    ),
    "board_temperature": Role("power", ("board_temperature_counts",), (("board_temperature_degC", 3),)),
    "battery": Role("power", ("battery_counts",), (("battery_V", 4),)),
    "rail": Role("power", ("rail_counts",), (("rail_V", 4),)),
}


def _ms5611(words, *counts):
    pressure_pa, temperature_degc = chips.ms5611(words, *counts)
    return pressure_pa / 100.0, temperature_degc, pressure_height_m(pressure_pa)


CONVERSIONS = {
    ("barometer", "ms5611"): _ms5611,
    ("outside_temperature", "pt1000_divider"): chips.pt1000_divider,
    ("humidity", "sht3x"): chips.sht3x,
    ("motion", "mpu6050"): chips.mpu6050_motion,
    ("board_temperature", "mpu6050"): chips.mpu6050_temperature,
    ("battery", "adc_divider"): chips.adc_divider,
    ("rail", "adc_divider"): chips.adc_divider,
}


def convert(kind, counts, sensors):
    """Convert the counts of one kind of record as far as its sensors are known.

    kind: name of the kind. counts: dict field name -> float array (n,), NaN = missing.
    sensors: dict role -> (chip, words), as the manifest has it.
    Returns (columns, fields used, notes): a list of Column, the names of the fields that they
    replace, and a line for each sensor whose counts had to stay counts.
    """
    columns, used, notes = [], set(), []
    for role, (chip, words) in sensors.items():
        wanted = ROLES.get(role)
        if wanted is None or wanted.kind != kind or not set(wanted.fields) <= set(counts):
            continue
        conversion = CONVERSIONS.get((role, chip))
        if conversion is None:
            notes.append(f"sensor {role}: chip {chip!r} is not known here, its counts are left as they are")
            continue
        try:
            values = conversion(tuple(words), *[counts[name] for name in wanted.fields])
        except ValueError as error:
            notes.append(f"sensor {role} {chip}: {error}; its counts are left as they are")
            continue
        used.update(wanted.fields)
        for (name, decimals), array in zip(wanted.columns, values, strict=True):
            columns.append(Column(name, np.asarray(array, float), decimals))
    return columns, used, notes
