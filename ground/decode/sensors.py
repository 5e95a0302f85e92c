"""Which fields a sensor's role takes, which chip converts them, and which columns come out."""

from dataclasses import dataclass

import numpy as np

from ground.decode import chips, thermometers
from ground.decode.columns import Column
from ground.physics.atmosphere import pressure_height_m


@dataclass(frozen=True)
class Role:
    kind: str
    fields: tuple  # the counts that go in, in the order of the chip's function
    columns: tuple  # (name, decimals) of what comes out
    also_in: tuple = ()  # further kinds that have these fields


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
    "battery": Role("power", ("battery_counts",), (("battery_V", 4),), also_in=("beacon",)),
    "rail": Role("power", ("rail_counts",), (("rail_V", 4),)),
}


def _barometer(conversion):
    def convert_all(words, *counts):
        pressure_pa, temperature_degc = conversion(words, *counts)
        return pressure_pa / 100.0, temperature_degc, pressure_height_m(pressure_pa)

    return convert_all


CONVERSIONS = {
    ("barometer", "ms5611"): _barometer(chips.ms5611),
    ("barometer", "bmp280"): _barometer(chips.bmp280),
    ("outside_temperature", "pt1000_divider"): thermometers.pt1000_divider,
    ("outside_temperature", "ntc_divider"): thermometers.ntc_divider,
    ("outside_temperature", "tmp117"): thermometers.tmp117,
    ("outside_temperature", "ds18b20"): thermometers.ds18b20,
    ("humidity", "sht3x"): chips.sht3x,
    ("motion", "mpu6050"): chips.mpu6050_motion,
    ("board_temperature", "mpu6050"): chips.mpu6050_temperature,
    ("battery", "adc_divider"): chips.adc_divider,
    ("rail", "adc_divider"): chips.adc_divider,
}


PROBE_CONVERSIONS = {"ds18b20": thermometers.ds18b20_signed}


def convert(kind, counts, sensors):
    """Convert the counts of one kind of record as far as its sensors are known.

    kind: name of the kind. counts: dict field name -> float array (n,), NaN = missing.
    sensors: dict role -> (chip, words), as the manifest has it.
    Returns (columns, fields used, notes): a list of Column, the names of the fields that they
    replace, and a line for each sensor whose counts had to stay counts.
    """
    if kind == "probe" and {"probe", "temperature_counts"} <= set(counts):
        return _convert_probes(counts, sensors)
    columns, used, notes = [], set(), []
    for role, (chip, words) in sensors.items():
        wanted = ROLES.get(role)
        if wanted is None or kind not in (wanted.kind, *wanted.also_in) or not set(wanted.fields) <= set(counts):
            continue
        conversion = CONVERSIONS.get((role, chip))
        values = _converted(role, chip, words, conversion, [counts[name] for name in wanted.fields], notes)
        if values is None:
            continue
        used.update(wanted.fields)
        for (name, decimals), array in zip(wanted.columns, values, strict=True):
            columns.append(Column(name, np.asarray(array, float), decimals))
    return columns, used, notes


def _converted(role, chip, words, conversion, arrays, notes):
    """What a conversion makes of the arrays; None, and a note, if it cannot."""
    if conversion is None:
        notes.append(f"sensor {role}: chip {chip!r} is not known here, its counts are left as they are")
        return None
    try:
        return conversion(tuple(words), *arrays)
    except ValueError as error:
        notes.append(f"sensor {role} {chip}: {error}; its counts are left as they are")
        return None


def _convert_probes(counts, sensors):
    """Convert the readings of probes: a row each, with the probe's number and its temperature.

    Rows, and not a column a probe: each reading is a record of its own, that may be lost or unproven without
    the others. The counts stay beside it as soon as one probe's could not be converted.
    """
    number, raw = counts["probe"], counts["temperature_counts"]
    celsius, known, notes = np.full(len(raw), np.nan), np.zeros(len(raw), bool), []
    for role, (chip, words) in sensors.items():
        stem, _, digits = role.rpartition("_")
        if stem != "probe" or not digits.isdecimal() or len(digits) > 3:
            continue
        rows = number == int(digits)
        values = _converted(role, chip, words, PROBE_CONVERSIONS.get(chip), [raw[rows]], notes)
        if values is not None:
            celsius[rows] = values[0]
            known[rows] = True
    for unlisted in np.unique(number[~known & np.isfinite(number)]):
        if sensors and f"probe_{unlisted:.0f}" not in sensors:
            notes.append(
                f"probe {unlisted:.0f}: the manifest does not list it, its counts are left as they are"
            )
    if not known.any():
        return [], set(), notes
    columns = [Column("probe", number, 0), Column("temperature_degC", celsius, 4)]
    return columns, {"probe", "temperature_counts"} if known.all() else {"probe"}, notes
