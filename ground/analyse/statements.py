"""Statements about a flight: a value, its unit and imperial twin, when and where, and what it rests on.

A statement is a plain dict, ready for JSON, and always has the same keys; what does not apply or
cannot be said is None, and "reason" says why the data cannot answer.
"""

import numpy as np

from ground import units

_TWINS = {
    "m": ("ft", units.feet),
    "km": ("mi", lambda km: units.miles(1000.0 * km)),
    "m/s": ("mph", units.miles_per_hour),
    "degC": ("degF", units.degrees_fahrenheit),
}
_CLIMB_TWIN = ("ft/min", units.feet_per_minute)


def statement(title, value=None, unit=None, *, reason=None, evidence=None, climb=False, **more):
    """Make a statement.

    title: what it is about. value: float, or None with a reason. unit: SI unit, or 'percent', 'ppm',
    '1'. evidence: list of dicts from `evidence`. climb: the imperial twin of a speed is feet per minute.
    more: any of the other keys.
    """
    twin_unit, convert = _CLIMB_TWIN if climb else _TWINS.get(unit, (None, None))
    made = {
        "title": title, "value": _number(value), "unit": unit,
        "imperial_value": _number(convert(value)) if convert and value is not None else None,
        "imperial_unit": twin_unit, "uncertainty": None, "utc": None, "boot": None, "tick_ms": None,
        "uncertainty_s": None, "height_m": None, "height_ft": None, "latitude_deg": None,
        "longitude_deg": None, "coverage_percent": None, "evidence": evidence or [], "reason": reason,
        "place_reason": None,
    }  # fmt: skip
    unknown = set(more) - set(made)
    if unknown:
        raise TypeError(f"a statement has no {', '.join(sorted(unknown))}")
    for key, what in more.items():
        decimals = 7 if key in ("latitude_deg", "longitude_deg") else 4
        made[key] = _number(what, decimals) if isinstance(what, (int, float)) else what
    if made["height_m"] is not None:
        made["height_ft"] = _number(units.feet(made["height_m"]))
    return made


def evidence(what, source, method=None, samples=None):
    """Say what one part of a statement rests on: source is "kind.column" of the tables."""
    return {"what": what, "source": source, "method": method, "samples": samples}


def utc_text(utc):
    """Write datetime64 as ISO 8601 with milliseconds and Z; None stays None."""
    return None if utc is None else np.datetime_as_string(utc.astype("datetime64[ms]")) + "Z"


def of_moment(title, moment):
    """Make the statement of a Moment; its value is the height."""
    rests_on = []
    if moment.source:
        rests_on.append(evidence("time", moment.source, moment.method, moment.samples))
    if moment.height_source:
        rests_on.append(evidence("height", moment.height_source))
    if moment.place_source:
        rests_on.append(evidence("place", moment.place_source))
    return statement(
        title, moment.height_m, "m", reason=moment.reason, evidence=rests_on, utc=utc_text(moment.utc),
        boot=moment.boot, tick_ms=moment.tick_ms, uncertainty_s=moment.uncertainty_s,
        height_m=moment.height_m, latitude_deg=moment.latitude_deg, longitude_deg=moment.longitude_deg,
        place_reason=moment.place_reason,
    )  # fmt: skip


def of_extreme(title, unit, extreme, timeline, climb=False):
    """Make the statement of an Extreme."""
    rests_on = []
    if extreme.source:
        rests_on.append(evidence("value", extreme.source, extreme.method, extreme.samples))
    if extreme.height_source and extreme.height_source != extreme.source:
        rests_on.append(evidence("height", extreme.height_source))
    utc = None if extreme.time_s is None else utc_text(timeline.utc(extreme.time_s))
    share = None if extreme.coverage is None else round(100.0 * extreme.coverage, 1)
    return statement(
        title, extreme.value, unit, reason=extreme.reason, evidence=rests_on, utc=utc, boot=extreme.boot,
        tick_ms=extreme.tick_ms, height_m=extreme.height_m, coverage_percent=share, climb=climb,
    )  # fmt: skip


def _number(value, decimals=4):
    """A plain, finite number, or None."""
    if value is None or isinstance(value, (bool, int)):
        return value
    return round(float(value), decimals) if np.isfinite(value) else None
