"""`loftbook ask`."""

import json
import textwrap
from difflib import get_close_matches
from typing import Annotated

import typer

from ground.commands.options import Folder, Mission, Trackers
from ground.errors import LoftbookError
from ground.library import load_flight
from ground.page.cells import word_table
from ground.page.digits import decimals_of
from ground.page.escape import together
from ground.report.plain import printable
from ground.statements.catalogue import TOPICS
from ground.statements.quantity import Quantity
from ground.statements.statement import spread

WIDTH = 80
_MOST = 2000


def ask(
    folder: Folder,
    question: Annotated[
        str | None,
        typer.Argument(metavar="QUESTION", help="What to tell; without it, a list.", show_default=False),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="The answer for a program, as JSON.")] = False,
    mission: Mission = None,
    trackers: Trackers = None,
):
    """Tells what the data of a recovered flight say.

    \b
    Example, for the height of the tropopause:
      loftbook ask napraforgo-1 tropopause

    Without a QUESTION it lists those that can be asked. Uncertainties hold the true value in about 95 of 100
    cases.

    \b
    Exit code: 0 done, also if the data cannot answer; 1 could not start;
    2 wrong usage.
    """
    statements = load_flight(folder, mission, trackers or ()).statements
    if question is None:
        typer.echo(_json(statements) if as_json else _listed(statements))
        return
    if question not in statements:
        near = get_close_matches(question.lower(), statements, 3, 0.6) or _by_words(question, statements)
        hint = f"did you mean {' or '.join(near)}?" if near else "loftbook ask FOLDER lists what can be asked"
        asked = printable(question).strip() or "an empty question"
        raise LoftbookError(f"{asked}: nothing is known by that name; {hint}")
    one = statements[question]
    typer.echo(_json(one) if as_json else _answer(one))


def _json(content):
    return json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False)


def _by_words(question, statements):
    """Ids whose title or id holds the question."""
    wanted = question.lower().replace("_", " ").strip()
    found = [
        key
        for key, one in statements.items()
        if wanted and wanted in f"{key} {one['title']}".lower().replace("_", " ")
    ]
    return found[:3]


def _listed(statements):
    """All ids with their titles, topic by topic."""
    width = max(map(len, statements), default=0) + 2
    lines = []
    names = [name for name, _ in TOPICS]
    for topic in [*names, *sorted({one["topic"] for one in statements.values()} - set(names))]:
        mine = [(key, one) for key, one in statements.items() if one["topic"] == topic]
        if mine:
            lines += [*([""] if lines else []), topic]
        for key, one in mine:
            lines.append(
                f"  {key:<{width}}{printable(one['title'])}{'' if one['reason'] is None else ' (cannot tell)'}"
            )
    return "\n".join(lines)


def _answer(one):
    """A statement with all that it rests on, at most 80 columns wide."""
    lines = _wrapped("", one["text"])
    if one["text_imperial"] != one["text"]:
        lines += _wrapped("", one["text_imperial"])
    lines.append("")
    is_climb = one["imperial_unit"] == "ft/min"
    decimals = decimals_of(one["uncertainty"]) if one["uncertainty"] else 2
    if one["value"] is not None and not one["uncertainty"] and float(one["value"]).is_integer():
        decimals = 0  # a count
    if one["value"] is not None:
        lines += _row("Value", _both(Quantity(one["value"], one["unit"] or "1", decimals, is_climb)))
    if one["uncertainty"] is not None:
        lines += _row(
            "Uncertainty", f"{_both(spread(one['uncertainty'], one['unit'] or '1', decimals, is_climb))}, k = 2"
        )
    if one["uncertainty_s"] is not None:
        lines += _row("Time to within", f"{one['uncertainty_s']:.1f} s, k = 2")
    lines += _row("Confidence", one["confidence"])
    for caveat in one["caveats"]:
        lines += _row("But", caveat)
    if one["utc"]:
        lines += _row("When", one["utc"])
    if one["height_m"] is not None:
        lines += _row("Height", _both(Quantity(one["height_m"], "m")))
    if one["latitude_deg"] is not None:
        lines += _row("Place", f"{one['latitude_deg']:.5f}, {one['longitude_deg']:.5f}")
    elif one["place_reason"]:
        lines += _row("Place", f"cannot tell: {one['place_reason']}")
    if one["from_utc"] and one["to_utc"]:
        lines += _row("Time span", f"{one['from_utc']} to {one['to_utc']}")
    for part in one["evidence"]:
        samples = None if part["samples"] is None else f"{part['samples']} samples"
        lines += _row(
            f"For its {part['what']}", "; ".join(x for x in (part["source"], part["method"], samples) if x)
        )
    if one["table"] and one["table"]["rows"]:
        lines += ["", *_table(one["table"])]
    return "\n".join(lines)


def _both(quantity):
    metric, imperial = quantity.metric(), quantity.imperial()
    return metric if metric == imperial else f"{metric} ({imperial})"


def _row(name, words):
    return _wrapped(f"{name}:".ljust(18), words, " " * 18)


def _wrapped(first, words, rest=""):
    lines = textwrap.wrap(together(printable(words, _MOST)), WIDTH, initial_indent=first, subsequent_indent=rest)
    return [line.replace("\u00a0", " ") for line in lines] or [first]


def _table(table):
    """The columns of a table beside each other, in SI units; it may be wider than a terminal."""
    made = word_table("", table)
    heads = [printable(head.words.metric, _MOST) for head in made.heads]
    rows = [[printable(cell.metric, _MOST) for cell in row] for row in made.rows]
    widths = [max(map(len, column)) for column in zip(heads, *rows, strict=True)]
    return ["  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)) for row in (heads, *rows)]
