"""`loftbook card`."""

import shlex
from pathlib import Path
from typing import Annotated

import typer

from ground.card.copy import copy_card
from ground.card.image_map import map_path
from ground.commands.shared import byte_progress_bar, count

WITH_LOSSES = 4


def card(
    device: Annotated[
        Path, typer.Argument(metavar="DEVICE", help="The card, or a file to copy.", show_default=False)
    ],
    image: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="IMAGE", help="New file for the copy.", show_default=False),
    ],
):
    """Copies a card to an image, around its bad places.

    \b
    Example, with the card of the flight in a reader that lsblk calls sdX:
      loftbook card /dev/sdX -o napraforgo-card.img

    \b
    Before: let the card dry, set its write-protect switch, and never let the
    computer "repair" or format it, whatever it offers. Copy first; then
    recover from the copy, and keep the card as it is.

    DEVICE is only read. What fails is asked for again 3 times, then in smaller pieces, down to one sector.
    What cannot be read at all is zeros in the image, and IMAGE.map.json lists it for loftbook recover.
    Reading a device may need more rights: sudo.

    \b
    Exit code: 0 all of it read; 4 copied, some of it could not be read;
    1 could not start or go on; 2 wrong usage; 130 stopped with Ctrl-C.
    """
    with byte_progress_bar() as progress:
        tasks = {}

        def show(what, done, total):
            if what not in tasks:
                tasks[what] = progress.add_task(f"{what} {device.name}")
            progress.update(tasks[what], completed=done, total=total)

        copied = copy_card(device, image, typer.echo, show)
    typer.echo(f"Copied {device} to {image}: {count(copied.map.size, 'byte')}.")
    typer.echo(f"SHA-256: {copied.map.sha256}")
    if copied.is_gone:
        typer.echo(
            f"{device} stopped answering before its end. Take it out, put it in again and copy it once more "
            "to another image: loftbook recover puts several images of a card together."
        )
    lost = copied.unreadable_bytes
    if lost:
        typer.echo(
            f"Could not be read: {count(lost, 'byte')} in {count(len(copied.map.unreadable), 'place')}; zeros "
            f"in the image, listed in {map_path(image)}."
        )
    else:
        typer.echo(f"Every byte could be read; {map_path(image)} says so.")
    folder = image.stem if image.suffix else f"{image.name}-recovered"
    typer.echo(f"Next: loftbook recover {shlex.quote(str(image))} -o {shlex.quote(folder)}")
    if lost:
        raise typer.Exit(WITH_LOSSES)
