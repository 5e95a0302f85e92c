"""Statements about the cold: what it took from the battery, and how cold it was inside the box."""

from ground.analyse import power
from ground.analyse.extremes import coverage
from ground.statements.counts import counted
from ground.statements.moments_climb_end import at_text
from ground.statements.power_facts import flight_span, in_flight, probe_name, since, table_of
from ground.statements.quantity import Quantity
from ground.statements.shared import share_percent
from ground.statements.statement import evidence, missing, statement

BOARD_K = 3.0  # the motion chip's thermometer is not trimmed; its data sheet gives no accuracy (guess, no source)
PROBE_K = 2.0  # DS18B20 data sheet: 0.5 degrees from -10 to 85, 2 degrees down to -55 degrees Celsius
TEN_K = 10.0
LEAST_V = 0.01  # of a voltage in the text


def battery_cold(case, found):
    """Its value is how many volts the battery gives more for each degree that it is warmer."""
    title, cold = "What the cold took from the battery", found.cold
    if cold.volts_per_k is None:
        return missing(title, "V/K", cold.reason)
    uncertainty = 2.0 * cold.uncertainty_v_per_k
    ten, spread = abs(TEN_K * cold.volts_per_k), max(TEN_K * uncertainty, LEAST_V)
    said = {"degrees": Quantity(TEN_K, "K"), "ten": Quantity(ten, "V", 2), "spread": Quantity(spread, "V", 2),
            "most": Quantity(ten + spread, "V", 2)}  # fmt: skip
    way = "less" if cold.volts_per_k >= 0 else "more"
    text = f"For each {{degrees}} that it got colder, the battery gave {{ten}} {way}, give or take {{spread}}."
    caveats = []
    if abs(cold.volts_per_k) < uncertainty:
        text = "What the cold did to the battery's voltage cannot be told from nothing: it was {most} at most for "
        text += "each {degrees}."
        caveats.append("the uncertainty is larger than the effect, so there may be none")
    method = "linear regression on time, its square, temperature and steps of the load; Newey-West standard error"
    row = [round(cold.volts_per_k, 4), round(cold.volts_per_hour, 3), round(cold.range_k, 1)]
    columns = {"effect of a degree warmer": "V/K", "effect of age": "V/h", "range of temperature": "K"}
    return statement(
        title, text, value=cold.volts_per_k, unit="V/K", decimals=4, uncertainty=uncertainty, says=said,
        evidence=[evidence("value", "power.battery_V, power.board_temperature_degC", method, cold.samples)],
        caveats=caveats, table=table_of(columns, [row]), **flight_span(case, found.battery),
    )  # fmt: skip


def inside_temperature(case, found):
    """The coldest of the board in flight, or without one of the first probe."""
    title, rows, main = "Coldest inside the box", [], None
    board = [("board", found.board, "power.board_temperature_degC", BOARD_K)]
    probes = found.probes.items()
    probes = [(probe_name(case, n), series, "probe.temperature_degC", PROBE_K) for n, series in probes]
    for name, series, source, spread_k in board + probes:
        column = source.split(".")[1]
        flying = in_flight(case, series)
        low, high = (power.extreme(flying.time_s, flying[column], sign) for sign in (-1, 1))
        if low is None:
            continue
        times = [since(case, flying.time_s[index]) for index, _ in (low, high)]
        rows.append([name, round(low[1], 2), times[0], round(high[1], 2), times[1]])
        main = main or (name, flying, source, spread_k, low, high)
    if main is None:
        reason = "the log holds no temperature of the board or of a probe in flight"
        return missing(title, "degC", "the thermometer on the board stood still" if found.stuck else reason)
    name, flying, source, spread_k, low, high = main
    time_s = float(flying.time_s[low[0]])
    height_m, _ = case.heights.at(time_s)
    text = "Inside the box it was coldest {when}" + (", " if height_m is None else ", {height} above the sea: ")
    text += "the {name} was at {value} then, give or take {uncertainty}. At its warmest"
    text += ("" if case.phases.no_flight else " in flight") + " it was at {high}."
    caveats = []
    if found.stuck:
        readings = counted(found.stuck, "reading")
        caveats.append(f"{readings} of the board's thermometer stood still and were left out")
    columns = {"thermometer": "", "coldest": "degC", "coldest, since launch": "s", "warmest": "degC",
               "warmest, since launch": "s"}  # fmt: skip
    method = f"lowest running median of {power.SMOOTH_SAMPLES}"
    return statement(
        title, text, value=low[1], unit="degC", uncertainty=spread_k, height_m=height_m, caveats=caveats,
        says={"when": at_text(case, time_s), "height": Quantity(height_m, "m"), "name": name,
              "high": Quantity(high[1], "degC")},
        evidence=[evidence("value", source, method, len(flying))], table=table_of(columns, rows),
        coverage_percent=share_percent(coverage(flying.time_s, case.window.start_s, case.window.end_s)),
        **flight_span(case, flying), **case.at(time_s, flying),
    )  # fmt: skip
