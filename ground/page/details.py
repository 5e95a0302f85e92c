"""Statements for a page: by topic, each with what it rests on, in both kinds of units."""

from ground.page.cells import word_table
from ground.page.digits import decimals_of
from ground.page.escape import clean
from ground.page.plot import Words, words
from ground.statements.catalogue import TOPICS
from ground.statements.quantity import Quantity
from ground.statements.statement import CANNOT_TELL, spread


def topics(statements):
    """The statements by topic, in the order of the catalogue; those of no topic of ours last."""
    names = [name for name, _ in TOPICS]
    names += sorted({one["topic"] for one in statements.values()} - set(names))
    found = [
        {"name": name, "statements": [_said(one) for one in statements.values() if one["topic"] == name]}
        for name in names
    ]
    return [topic for topic in found if topic["statements"]]


def unanswered(statements):
    """The questions that the data cannot answer, in the order of the statements: list of dict id, title, reason."""
    return [
        {"id": one["id"], "title": one["title"], "reason": clean(one["reason"] or one["text"]).rstrip(".")}
        for one in statements.values()
        if one["confidence"] == CANNOT_TELL
    ]


def _said(one):
    return {
        "id": one["id"], "title": one["title"], "words": Words(one["text"], one["text_imperial"]),
        "confidence": one["confidence"], "caveats": one["caveats"], "details": details(one),
        "table": word_table(one["title"], one["table"]) if one["table"] else None,
    }  # fmt: skip


def details(one):
    """What a statement rests on: list of (name, Words)."""
    rows = []
    if one["uncertainty"] is not None and one["value"] is not None:
        wide = spread(
            one["uncertainty"],
            one["unit"] or "1",
            decimals_of(one["uncertainty"]),
            one["imperial_unit"] == "ft/min",
        )
        rows.append(("Uncertainty", Words(f"{wide.metric()} (k = 2)", f"{wide.imperial()} (k = 2)")))
    if one["uncertainty_s"] is not None:
        rows.append(("Uncertainty of the time", words(f"{one['uncertainty_s']:.1f} s (k = 2)")))
    for part in one["evidence"]:
        told = [part["source"], part["method"], None if part["samples"] is None else f"{part['samples']} samples"]
        rows.append(
            (f"{clean(part['what']).capitalize()} from", words("; ".join(clean(word) for word in told if word)))
        )
    if one["from_utc"] or one["to_utc"]:
        rows.append(("Time span", words(_between(one["from_utc"], one["to_utc"]))))
    elif one["from_s"] is not None and one["to_s"] is not None:
        rows.append(("Time span", words(f"{one['from_s']:.0f} s to {one['to_s']:.0f} s after launch")))
    if one["utc"]:
        rows.append(("At", words(f"{_clock(one['utc'], 21)} UTC")))
    if one["height_m"] is not None:
        height = Quantity(one["height_m"], "m")
        rows.append(("Height", Words(height.metric(), height.imperial())))
    if one["latitude_deg"] is not None:
        rows.append(("Place", words(place(one["latitude_deg"], one["longitude_deg"]))))
    elif one["place_reason"]:
        rows.append(("Place", words(f"cannot tell: {one['place_reason']}")))
    if one["coverage_percent"] is not None:
        rows.append(("Samples cover", words(f"{one['coverage_percent']:.0f} % of that time")))
    return rows


def _clock(utc, letters=19):
    """A time of a statement (ISO 8601) as people write it, as many letters of it."""
    return str(utc)[:letters].replace("T", " ")


def _between(start, end):
    """A span of times; its day only once if it is one."""
    if not start or not end:
        return f"{_clock(start) if start else 'unknown'} to {_clock(end) if end else 'unknown'} UTC"
    same = str(start)[:10] == str(end)[:10]
    return f"{_clock(start)} to {_clock(end)[11:] if same else _clock(end)} UTC"


def place(latitude_deg, longitude_deg):
    """Write a place as words."""
    north, east = "N" if latitude_deg >= 0 else "S", "E" if longitude_deg >= 0 else "W"
    return f"{abs(latitude_deg):.4f}° {north}, {abs(longitude_deg):.4f}° {east}"
