"""The data dictionary: what every column of every table means, with its unit."""

import csv
import io

from ground.decode.tables import EVIDENCE_COLUMN

# Endings of column names -> unit as a reader of tables writes it. Longer endings first.
UNITS = (
    ("_m_s2", "m/s2"), ("_deg_s", "deg/s"), ("_m_s", "m/s"), ("_degC", "degC"), ("_hPa", "hPa"), ("_Pa", "Pa"),
    ("_percent", "%"), ("_counts", "count"), ("_ohm", "ohm"), ("_ppm", "ppm"), ("_deg", "deg"), ("_ms", "ms"),
    ("_byte", "byte"), ("_km", "km"), ("_m", "m"), ("_V", "V"), ("_s", "s"), ("_d", "d"),
)  # fmt: skip
# A column means the same in every table, unless "kind.column" says otherwise.
MEANINGS = {
    "utc": "time of the sample, UTC, from the board's ticks and the clock that was fitted to the fixes",
    "seconds_since_launch": "time of the sample since the launch that was found; negative before it",
    "boot": "number of the boot (from a reset to the next) that logged it",
    "tick_ms": "the board's own time of the sample, since that boot",
    EVIDENCE_COLUMN: "how the record is known: proven by the check sum of its block, rebuilt, or repaired",
    "why": "what is wrong with the block that the record seems to come from",
    "latitude_deg": "latitude, WGS 84, north positive",
    "longitude_deg": "longitude, WGS 84, east positive",
    "height_m": "height above mean sea level, as the GNSS receiver says",
    "ground_speed_m_s": "speed over ground, as the GNSS receiver says",
    "course_deg": "direction of the movement over ground, clockwise from true north",
    "vertical_speed_m_s": "upward speed, as the GNSS receiver says; missing if it does not",
    "satellites": "satellites used for the fix",
    "quality": "NMEA 0183 GGA quality indicator; 0 = no fix",
    "hdop": "horizontal dilution of precision",
    "gnss_utc": "time of the fix as the GNSS receiver says",
    "pressure_hPa": "air pressure, from the barometer's counts and its calibration words",
    "pressure_height_m": "geopotential height at which the standard atmosphere (ISO 2533) has this pressure",
    "barometer_temperature_degC": "temperature of the barometer's own chip",
    "temperature_degC": "temperature of the outside thermometer, as it reads: not corrected for lag or sunlight",
    "humidity_chip_temperature_degC": "temperature of the humidity chip",
    "relative_humidity_percent": "relative humidity over liquid water",
    "probe.temperature_degC": "temperature of this probe",
    "probe": "number of the probe on the 1-Wire bus",
    "battery_V": "battery voltage",
    "rail_V": "voltage of the board's supply rail",
    "board_temperature_degC": "temperature on the board, inside the box",
    "queue_fill": "closed blocks waiting for the card",
    "missed_samples": "samples that were due and were not taken, since the last health record",
    "write_time_last_s": "time that the last block write took",
    "write_time_slowest_s": "time that the slowest block write took since the last health record",
    "card_errors": "block writes that the card refused since the last health record",
    "free_heap_byte": "free memory; missing on a simulated board",
    "reset_cause": "why this boot began: machine.reset_cause() of MicroPython",
    "event": "what happened",
    "subject_name": "to what it happened: a phase, a device, a switch",
    "code": "number of the event",
    "subject": "number of the subject",
    "detail": "the number that goes with the event",
    "message": "the whole message, beside its first piece",
    "part": "number of this piece, from 0",
    "parts": "number of pieces in the whole message",
    "characters": "text of this piece",
    "phase": "the flight phase",
    "phase_number": "number of the flight phase",
    "fix_age_s": "time since the last fix, when the packet was sent",
    **{
        f"acceleration_{axis}_m_s2": f"specific force along the chip's own {axis} axis; at rest 9.8 upwards"
        for axis in "xyz"
    },
    **{f"rate_{axis}_deg_s": f"angular rate about the chip's own {axis} axis" for axis in "xyz"},
}
_TYPES = {"M": "time, ISO 8601 UTC", "i": "whole number", "f": "number"}
UNKNOWN = "a field of the log that this program does not know; the log's manifest describes it"
COUNTS = "raw reading of the sensor, which could not be converted"


def unit_of(column):
    """Give the unit that a column's name ends in, '' if it has none.

    >>> unit_of("pressure_hPa"), unit_of("rate_x_deg_s"), unit_of("satellites")
    ('hPa', 'deg/s', '')
    """
    if column == "seconds_since_launch":
        return "s"
    return next((unit for ending, unit in UNITS if column.endswith(ending)), "")


def meaning_of(kind, column):
    """Say in half a sentence what a column of a table means."""
    found = MEANINGS.get(f"{kind}.{column}") or MEANINGS.get(column)
    return found or (COUNTS if column.endswith("_counts") else UNKNOWN)


def dictionary_text(tables):
    """Write the data dictionary of tables (dict kind -> Table) as CSV, RFC 4180: a line a column."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(["table", "column", "type", "unit", "decimals", "missing_value", "meaning"])
    for kind, table in tables.items():
        for column, values in table.columns.items():
            kind_of_value = _TYPES.get(values.dtype.kind, "text")
            decimals = table.decimals.get(column, "") if values.dtype.kind in "if" else ""
            empty = "" if column in ("boot", "tick_ms", EVIDENCE_COLUMN) else "empty cell"
            writer.writerow([kind, column, kind_of_value, unit_of(column), decimals, empty, meaning_of(kind, column)])
    return file.getvalue()
