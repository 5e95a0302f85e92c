"""A summary in words, for a terminal of 80 columns."""

import re
import textwrap

import numpy as np

WIDTH = 80
INDENT = 18
ENOUGH_PERCENT = 95.0
# A summary fits a screen; the report and `loftbook ask` have the rest.
IN_SUMMARY = (
    "launch", "burst", "landing", "last_fix", "greatest_height", "climb_rate", "coldest_air",
    "tropopause", "greatest_ground_speed", "strongest_wind", "greatest_fall_speed", "landing_speed", "duration",
    "distance", "bearing", "data_recovered", "boots",
    "resets_in_flight", "clock_drift",
)


def summary_text(summary, with_evidence):
    """Write a Summary as text; with_evidence adds what each statement rests on."""
    payload = f", payload {summary['payload']}" if summary["payload"] else ""
    lines = [f"Flight {summary['flight']}{payload}", ""]
    for key in IN_SUMMARY:
        statement = summary["statements"].get(key)
        if statement is None:
            continue
        lines += _lines(statement["title"], _says(key, statement))
        if with_evidence:
            for part in statement["evidence"]:
                lines += _wrapped(_rests_on(part, statement), " " * (INDENT + 2), INDENT + 4)
    records = ", ".join(f"{_grouped(count, 0)} {kind}" for kind, count in summary["records"].items())
    lines += _lines("Records", [records or "none"])
    if summary["notes"]:
        lines += ["", "Notes"]
        for note in summary["notes"]:
            lines += textwrap.wrap(note, WIDTH, initial_indent="- ", subsequent_indent="  ")
    return "\n".join(_printable(line) for line in lines) + "\n"


def _printable(line):
    """A line without the control characters that a name in a log may hold."""
    return "".join(c if c.isprintable() else "?" for c in line)


def _says(key, statement):
    """What a statement says, as one or more paragraphs."""
    if key in ("launch", "burst", "landing", "last_fix"):
        return _moment(statement)
    if statement["value"] is None:
        reason = statement["reason"]
        return [statement["text"] if reason is None else f"not in the data: {reason}"]
    if key == "greatest_height":
        said = _with_twin(statement, 0) + _how(statement, "value") + _when(statement)
        return [said + _covers(statement)]
    if key in ("tropopause", "landing_speed"):
        return [_with_twin(statement, 0 if key == "tropopause" else 1) + _give_or_take(statement) + _covers(statement)]
    if key in ("coldest_air", "greatest_ground_speed", "strongest_wind", "greatest_fall_speed"):
        return [_with_twin(statement, 1) + _height(statement) + _when(statement) + _covers(statement)]
    if key == "climb_rate":
        return [_with_twin(statement, 1, 0) + _covers(statement)]
    if key == "duration":
        return [_duration(statement["value"])]
    if key == "distance":
        return [_with_twin(statement, 1)]
    if key == "bearing":
        return [f"{round(statement['value']) % 360} deg from true north, launch to landing"]
    if key == "clock_drift":
        return [_drift(statement)]
    if statement["unit"] == "percent":
        return [_recovered(statement)]
    return [f"{statement['value']:.0f}"]


def _recovered(statement):
    whole, *weaker = statement["evidence"]
    said = f"{_floored(statement['value'])} % of the {whole['samples']} blocks or packets"
    numbers = {part["what"]: part["samples"] for part in weaker}
    parts = []
    if "rebuilt" in numbers:
        # Only blocks have parity.
        said = said.removesuffix(" or packets")
        parts.append(f"{numbers['rebuilt']} of them rebuilt from parity")
    if "repaired" in numbers:
        said = said.removesuffix(" or packets")
        parts.append(f"{numbers['repaired']}{'' if parts else ' of them'} repaired")
    return f"{said} ({', '.join(parts)})" if parts else said


def _moment(statement):
    said = []
    if statement["reason"] is not None:
        said.append(f"not in the data: {statement['reason']}")
    elif statement["utc"] is None:
        said.append(f"{statement['tick_ms'] / 1000:.1f} s into boot {statement['boot']}")
    else:
        said.append(" ".join(_clock(statement["utc"])) + " UTC")
    if statement["value"] is not None:
        said[-1] += ("; the ground is " if statement["reason"] else ", ") + f"at {_with_twin(statement, 0)}"
        said[-1] += _how(statement, "height")
    if statement["latitude_deg"] is not None:
        said.append(_place(statement["latitude_deg"], statement["longitude_deg"]))
    elif statement["place_reason"] != statement["reason"]:
        said.append(f"place not in the data: {statement['place_reason']}")
    return said


def _how(statement, what):
    """How a height was measured, if not by fixes."""
    source = next((part["source"] for part in statement["evidence"] if part["what"] == what), "fix.")
    if source.startswith("fix."):
        return ""
    return " by air pressure" if "fix." in source else " in the standard atmosphere (no fixes)"


def _place(latitude_deg, longitude_deg):
    north, east = "N" if latitude_deg >= 0 else "S", "E" if longitude_deg >= 0 else "W"
    return f"{abs(latitude_deg):.5f} {north}, {abs(longitude_deg):.5f} {east}"


def _with_twin(statement, decimals, twin_decimals=None):
    twin_decimals = decimals if twin_decimals is None else twin_decimals
    twin = f"{_grouped(statement['imperial_value'], twin_decimals)} {statement['imperial_unit']}"
    return f"{_grouped(statement['value'], decimals)} {statement['unit']} ({twin})"


def _height(statement):
    if statement["height_m"] is None:
        return ""
    return f" at {_grouped(statement['height_m'], 0)} m ({_grouped(statement['height_ft'], 0)} ft)"


def _when(statement):
    return f", {_clock(statement['utc'])[1]} UTC" if statement["utc"] else ""


def _give_or_take(statement):
    """The uncertainty, if there is one."""
    if statement["uncertainty"] is None:
        return ""
    return f", +-{_grouped(statement['uncertainty'], 0 if statement['uncertainty'] >= 10 else 1)} {statement['unit']}"


def _covers(statement):
    """A warning where the samples miss much of the flight: the true extreme may lie there."""
    percent = statement["coverage_percent"]
    if percent is None or percent >= ENOUGH_PERCENT:
        return ""
    return f"; samples cover {percent:.0f} % of that time"


def _clock(utc):
    """A time of day to the nearest second, with its date."""
    rounded = np.datetime64(utc[:-1], "ms") + np.timedelta64(500, "ms")
    return str(rounded)[:10], str(rounded)[11:19]


def _duration(seconds):
    minutes, seconds = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min {seconds} s" if hours else f"{minutes} min {seconds} s"


def _drift(statement):
    way = "fast" if statement["value"] >= 0 else "slow"
    fixes = statement["evidence"][0]["samples"]
    return (
        f"the board's clock ran {abs(statement['value']):.1f} ppm {way} "
        f"(+-{max(statement['uncertainty'], 0.1):.1f}, {fixes} fixes, boot {statement['boot']})"
    )


def _floored(percent):
    """One decimal, rounded down: 100 must mean all."""
    return f"{int(percent * 10) / 10:.1f}"


def _grouped(value, decimals):
    return f"{value:,.{decimals}f}".replace(",", " ")


def _rests_on(part, statement):
    said = f"{part['what']}: {part['source']}"
    if part["method"]:
        said += f"; {part['method']}"
    if part["samples"] is not None:
        said += f"; {part['samples']} samples"
    if part["what"] == "time":
        said += f"; +-{statement['uncertainty_s']:.1f} s"
    return said


def _lines(title, paragraphs):
    lines = _wrapped(paragraphs[0], title.ljust(INDENT))
    for paragraph in paragraphs[1:]:
        lines += _wrapped(paragraph, " " * INDENT)
    return lines


def _wrapped(text, first, indent=INDENT):
    # A space between the digits of a number is no place to break a line.
    held = re.sub(r"(?<=\d) (?=\d{3})", "\0", text)
    lines = textwrap.wrap(held, WIDTH, initial_indent=first, subsequent_indent=" " * indent)
    return [line.replace("\0", " ") for line in lines]
