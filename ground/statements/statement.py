"""A statement about a flight: what it says, how sure that is, and what it rests on.

A statement is a plain dict, ready for JSON, and always has the same keys; what does not apply or
cannot be said is None, and "reason" says why the data cannot answer.

title             a few words
text, text_imperial  one or two plain English sentences, complete without the title
value, unit       float and SI unit, or 'percent', 'ppm', '1'
imperial_value, imperial_unit
uncertainty       of the value, in its unit: expanded, coverage factor 2, so that about 95 % of such
                  intervals hold the true value (JCGM 100:2008, "Guide to the expression of uncertainty in
                  measurement", 6.2 and 6.3)
method, samples   how the value was found, and from how many samples
from_utc, to_utc, from_s, to_s   the time span that it rests on, as UTC and in seconds since launch
confidence        'high', 'medium', 'low', or 'cannot tell'
caveats           list of lines: what speaks against trusting it
utc, boot, tick_ms, uncertainty_s   when it was (uncertainty_s: as uncertainty, in s)
height_m, height_ft, latitude_deg, longitude_deg   where it was
coverage_percent  share of that time span that has samples
evidence          list of dicts, see `evidence`
table             None, or {"columns": [[name, unit], ...], "rows": [[...], ...]}: a value each layer, battery, ...
reason, place_reason   why there is no value, no place
"""

import numpy as np

from ground import units
from ground.statements.quantity import Quantity, say, twin

HIGH, MEDIUM, LOW, CANNOT_TELL = "high", "medium", "low", "cannot tell"
ENOUGH_PERCENT = 90.0  # samples in less of the time are a caveat


def statement(
    title, text=None, *, value=None, unit=None, decimals=0, climb=False, uncertainty=None, says=None, evidence=None,
    span=None, caveats=(), confidence=None, table=None, reason=None, **more,
):  # fmt: skip
    """Make a statement.

    title: what it is about. text: a sentence with {value}, {uncertainty} and the names in `says`; None: the
    title, the value and its uncertainty. value: number in `unit`, or None with a reason, or None with a text
    that says all (a statement in words). decimals: of value and uncertainty in the text. climb: the imperial
    twin of m/s is ft/min. uncertainty: expanded (k = 2). says: dict name -> Quantity or str. evidence: list
    from `evidence`. span: dict from Case.span. caveats: lines. confidence: if not given, high without a caveat,
    medium with one, low with more. table: see above. more: any of the other keys, such as **case.at(time_s).
    """
    value, uncertainty = _number(value), _number(uncertainty)
    caveats = list(caveats)
    percent = more.get("coverage_percent")
    if percent is not None and percent < ENOUGH_PERCENT and value is not None:
        caveats.append(f"samples cover {percent:.0f} % of that time")
    imperial_unit, imperial_value = twin(value, unit, climb)
    made = {
        "title": title, "text": None, "text_imperial": None, "value": value, "unit": unit,
        "imperial_value": _number(imperial_value), "imperial_unit": imperial_unit, "uncertainty": uncertainty,
        "method": None, "samples": None, "from_utc": None, "to_utc": None, "from_s": None, "to_s": None,
        "confidence": None, "caveats": caveats, "utc": None, "boot": None, "tick_ms": None,
        "uncertainty_s": None, "height_m": None, "height_ft": None, "latitude_deg": None,
        "longitude_deg": None, "coverage_percent": None, "evidence": evidence or [], "table": table,
        "reason": reason, "place_reason": None,
    }  # fmt: skip
    more = {**(span or {}), **more}
    unknown = set(more) - set(made)
    if unknown:
        raise TypeError(f"a statement has no {', '.join(sorted(unknown))}")
    for key, what in more.items():
        digits = 7 if key in ("latitude_deg", "longitude_deg") else 4
        made[key] = _number(what, digits) if isinstance(what, (int, float, np.number)) else what
    if made["height_m"] is not None:
        made["height_ft"] = _number(units.feet(made["height_m"]))
    main = next((part for part in made["evidence"] if part["what"] in ("value", "time")), None)
    if main:
        made["method"], made["samples"] = main["method"], main["samples"]
    _put_text(made, text, decimals, climb, says or {})
    made["confidence"] = confidence or _confidence(made)
    return made


def _put_text(made, text, decimals, climb, says):
    if made["reason"] is not None and made["value"] is None:
        text = f"{made['title']}: the data cannot tell, because {{reason}}."
        says = {"reason": made["reason"].rstrip(".")}
    elif text is None:
        text = f"{made['title']}: {{value}}" + (", give or take {uncertainty}." if made["uncertainty"] else ".")
    parts = {
        "value": Quantity(made["value"], made["unit"] or "1", decimals, climb),
        "uncertainty": spread(made["uncertainty"], made["unit"] or "1", decimals, climb), **says,
    }  # fmt: skip
    made["text"] = say(text, **parts)
    made["text_imperial"] = say(text, imperial=True, **parts)


def spread(uncertainty, unit, decimals=0, climb=False):
    """A Quantity for "give or take": of a temperature it is a difference, and it is never shown as 0."""
    if uncertainty is not None:
        uncertainty = max(uncertainty, 10.0**-decimals)
    return Quantity(uncertainty, "K" if unit == "degC" else unit, decimals, climb)


def _confidence(made):
    if made["reason"] is not None and made["value"] is None:
        return CANNOT_TELL
    return (HIGH, MEDIUM, LOW)[min(len(made["caveats"]), 2)]


def missing(title, unit, reason, **more):
    """Make the statement that the data cannot answer, with the reason: half a sentence, without full stop."""
    return statement(title, unit=unit, reason=reason, **more)


def evidence(what, source, method=None, samples=None):
    """Say what one part of a statement rests on: what is 'value', 'time', 'height', 'place' or a name;
    source is "kind.column" of the tables.
    """
    return {"what": what, "source": source, "method": method, "samples": samples}


def utc_text(utc):
    """Write datetime64 as ISO 8601 with milliseconds and Z; None stays None."""
    return None if utc is None else np.datetime_as_string(utc.astype("datetime64[ms]")) + "Z"


def _number(value, decimals=4):
    """A plain, finite number, or None."""
    if value is None or isinstance(value, (bool, int)):
        return value
    return round(float(value), decimals) if np.isfinite(value) else None
