"""`loftbook recover`."""

from pathlib import Path
from typing import Annotated

import typer

from ground.statements import summarise
from ground.commands.options import Sources
from ground.commands.shared import recover_or_fail
from ground.decode import decode_flight, decode_unproven, group_boots
from ground.new_folder import check_output
from ground.report import account, write_flights

WITH_LOSSES = 4


def recover(
    sources: Sources,
    output: Annotated[
        Path,
        typer.Option(
            "--output", "-o", metavar="FOLDER", help="New folder for the results.", show_default=False
        ),
    ],
    unproven: Annotated[
        bool,
        typer.Option("--unproven", help="Also tables of what damaged blocks seem to hold."),
    ] = False,
):
    """Recovers what a card, file or capture still holds of a flight.

    \b
    Example, with the image of a card that lay in the rain:
      loftbook recover napraforgo-card.img -o napraforgo-1

    A SOURCE is only read; it may be compressed (gzip, zstd), or be the card itself (/dev/sdX), but copy
    that first: loftbook card. Several sources of one flight, such as two images of its card and what two
    listeners captured, are put together. The folder gets a table (CSV) for every kind of record, the
    summary, an account of what was lost and why, a picture of each SOURCE, and the ledger of what every byte
    of it held.

    \b
    Exit code: 0 everything recovered; 4 recovered, with losses;
    3 nothing of ours found; 1 could not start; 2 wrong usage.
    """
    for source in sources:
        check_output(output, source)
    recovered = recover_or_fail(sources)
    results = []
    for boots in group_boots(recovered.boots).values():
        flight = decode_flight(boots)
        results.append((flight, summarise(flight, recovered)))
    doubtful = {}
    if unproven:
        doubtful = {flight.flight: decode_unproven(flight, recovered.unproven) for flight, _ in results}
    write_flights(output, results, recovered, unproven=doubtful)
    for _, summary in results:
        typer.echo(summary.text(), nl=False)
        typer.echo()
    pictures = "card.svg" if len(sources) == 1 else "card-1.svg and so on"
    typer.echo(f"Written to {output}: tables, summary.txt, account.txt, {pictures}, ledger.json")
    for flight, summary in results:
        typer.echo()
        typer.echo(account(recovered.ledger, flight, summary, recovered.unproven), nl=False)
    if recovered.ledger.has_losses or any(boot.unreadable_records for boot in recovered.boots):
        raise typer.Exit(WITH_LOSSES)
