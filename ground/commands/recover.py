"""`loftbook recover`."""

import textwrap
from collections import Counter
from pathlib import Path
from typing import Annotated

import typer

from ground.analyse import summarise
from ground.analyse.words import WIDTH
from ground.commands.options import Source
from ground.commands.shared import count, recover_or_fail
from ground.decode import decode_flight, group_boots
from ground.recover.ledger import BLOCK_DAMAGED, UNREADABLE
from ground.report import check_output, write_flights

WITH_LOSSES = 4


def recover(
    source: Source,
    output: Annotated[
        Path,
        typer.Option(
            "--output", "-o", metavar="FOLDER", help="New folder for the results.", show_default=False
        ),
    ],
):
    """Recovers what a card, file or capture still holds of a flight.

    \b
    Example, with the image of a card that lay in the rain:
      loftbook recover napraforgo-card.img -o napraforgo-1

    SOURCE is only read. The folder gets a table (CSV) for every kind of record, the summary, and the
    ledger of what every byte of SOURCE held and what was lost.

    \b
    Exit code: 0 everything recovered; 4 recovered, with losses;
    3 nothing of ours found; 1 could not start; 2 wrong usage.
    """
    check_output(output, source)
    recovered = recover_or_fail(source)
    results = []
    for boots in group_boots(recovered.boots).values():
        flight = decode_flight(boots)
        results.append((flight, summarise(flight, recovered)))
    write_flights(output, results, recovered, source)
    for _, summary in results:
        typer.echo(summary.text(), nl=False)
        typer.echo()
    typer.echo(f"Written to {output}: tables, summary.txt, summary.json, ledger.json")
    lost = what_was_lost(recovered)
    typer.echo(textwrap.fill(f"Lost: {lost or 'nothing'}", WIDTH, subsequent_indent="  "))
    if lost:
        typer.echo("Where and why, byte by byte: ledger.json")
        raise typer.Exit(WITH_LOSSES)


def what_was_lost(recovered):
    """Say in a line what the ledger counts as lost; '' if nothing was."""
    ledger = recovered.ledger
    parts = []
    for envelope in ("block", "packet"):
        losses = [loss for loss in ledger.losses if loss.envelope == envelope]
        if losses:
            reasons = Counter()
            for loss in losses:
                reasons[loss.reason] += loss.count
            why = ", ".join(f"{number} {reason}" for reason, number in reasons.most_common())
            parts.append(f"{count(sum(reasons.values()), envelope)} ({why})")
    damaged = sum(item.state == BLOCK_DAMAGED for item in ledger.ranges)
    if damaged:
        parts.append(f"{count(damaged, 'damaged place')}")
    unreadable = ledger.bytes_by_state().get(UNREADABLE, 0)
    if unreadable:
        parts.append(f"{count(unreadable, 'byte')} that could not be read")
    cut_short = sum(boot.unreadable_records for boot in recovered.boots)
    if cut_short:
        parts.append(f"the rest of {count(cut_short, 'block or packet')} with records of unknown size")
    return "; ".join(parts)
