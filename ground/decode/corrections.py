"""The mission's corrections of readings, applied to tables that were read."""

from ground.decode.tables import Table
from ground.physics.atmosphere import pressure_height_m

# Field of the mission's section -> (kind, column, the reading's unit per unit of the field)
_COLUMNS = {
    "barometer_hpa": ("pressure", "pressure_hPa", 1.0),
    "outside_temperature_k": ("air", "temperature_degC", 1.0),
    "humidity_percent": ("air", "relative_humidity_percent", 1.0),
    "battery_mv": ("power", "battery_V", 0.001),
}
_UNITS = {"barometer_hpa": "hPa", "outside_temperature_k": "K", "humidity_percent": "%", "battery_mv": "mV"}


def corrected(tables, corrections):
    """Add the mission's corrections to readings.

    tables: dict kind -> Table, which stay as they are. corrections: the mission's section.
    Returns (tables, notes): new tables where a correction is not zero, and a line about each that was made.
    """
    made, notes = dict(tables), []
    for field, (kind, column, factor) in _COLUMNS.items():
        added = getattr(corrections, field)
        if added == 0.0 or kind not in made or column not in made[kind].columns:
            continue
        table = made[kind]
        columns = {**table.columns, column: table.columns[column] + added * factor}
        if column == "pressure_hPa":
            columns["pressure_height_m"] = pressure_height_m(columns[column] * 100.0)
        made[kind] = Table(table.kind, columns, table.decimals)
        notes.append(f"the mission's correction of {added:+g} {_UNITS[field]} was added to {kind}.{column}")
    return made, notes
