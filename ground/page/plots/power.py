"""Batteries, the supply of the board, and how cold everything got."""

from ground.page import looks
from ground.page.plot import Axis, NoPlot, Panel, Plot, sentence, words
from ground.page.plots.shared import line_of, table_of, time_axis, told
from ground.page.plots.thermometers import is_left_out
from ground.statements.quantity import Quantity

TITLE = "Power and cold"
_NAMES = {
    "battery_V": "Battery", "rail_V": "Supply of the board", "board_temperature_degC": "Board",
    "barometer_temperature_degC": "Barometer", "temperature_degC": "Air",
    "humidity_chip_temperature_degC": "Humidity chip",
}  # fmt: skip
_KINDS = ("power", "pressure", "air")


def plot(case, statements):
    """Voltages, and the temperatures inside beside the air's, over time."""
    volts = _lines(case, ("power",), "_V", 0)
    if not volts:
        return NoPlot("power", TITLE, "no voltages in this flight")
    panels = [Panel(Axis("Voltage", "V"), volts)]
    temperatures = _lines(case, _KINDS, "temperature_degC", len(volts))
    if temperatures:
        panels.append(Panel(Axis("Temperature", "degC"), temperatures))
    about = told(
        statements,
        ("battery", "battery_lowest", "inside_temperature"),
        "Lines of voltage and of temperature, over time.",
    )
    return Plot("power", TITLE, _title(statements), about, time_axis(case), tuple(panels))


def _lines(case, kinds, ending, first):
    """A line for each column of these kinds whose name ends so: tuple of Trace. first: the number of its style."""
    traces = []
    for kind in kinds:
        for name in table_of(case, kind) or ():
            if not name.endswith(ending):
                continue
            style = looks.style(first + len(traces))
            stem = name.removesuffix(ending).replace("_", " ").strip()
            called = _NAMES.get(name) or (stem or kind).capitalize()
            series = case.timeline.series(kind, (name,))
            if kind == "air":
                series = series.where(~is_left_out(case, name, series.time_s))
            trace = line_of(case, series, name, called, style)
            if trace is not None:
                traces.append(trace)
    return tuple(traces)


def _title(statements):
    lowest = statements.get("battery_lowest")
    if lowest is None or lowest["value"] is None:
        return words("How the batteries kept up, and how cold it got inside")
    return sentence("The battery fell to {volts} at the lowest", volts=Quantity(lowest["value"], "V", 2))
