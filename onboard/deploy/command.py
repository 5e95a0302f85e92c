"""`loftbook deploy`."""

import secrets
import tempfile
from collections import Counter
from pathlib import Path
from typing import Annotated

import typer

from ground.errors import LoftbookError
from ground.mission import MissionError, load_mission
from onboard.deploy.build import build
from onboard.deploy.port import copy_to_port

_FLIGHT_DIGITS = 8


def deploy(
    mission: Annotated[
        Path, typer.Argument(metavar="MISSION", help="The payload's mission.toml.", show_default=False)
    ],
    port: Annotated[
        str, typer.Option("--port", metavar="PORT", help="Serial port of the board.", show_default=False)
    ] = "",
    folder: Annotated[
        Path | None,
        typer.Option(
            "--to-folder", metavar="FOLDER", help="New folder, instead of a board.", show_default=False
        ),
    ] = None,
    flight: Annotated[
        str,
        typer.Option(
            "--flight", metavar="HEX", help="Go on with a flight: 8 hexadecimal digits.", show_default=False
        ),
    ] = "",
):
    """Puts the logger and the payload's configuration onto a board.

    \b
    Example, with the board on a USB cable:
      loftbook deploy napraforgo-1/mission.toml --port /dev/ttyACM0

    The board needs MicroPython 1.24 or newer. What it gets is checked there and starts at once. Each
    deployment begins a new flight with an identity of its own, so deploy once more before the day: what the
    bench logged then stays apart from the flight. --to-folder writes the same files into a folder, to be
    looked at or copied by hand.

    \b
    Exit code: 0 done; 1 could not start or go on; 2 wrong usage.
    """
    if bool(port) == (folder is not None):
        raise typer.BadParameter("give either --port or --to-folder")
    identity = _identity(flight)
    try:
        loaded = load_mission(mission)
    except MissionError as error:
        raise LoftbookError(str(error)) from None
    if folder is not None:
        built = _into_folder(loaded, identity, folder)
    else:
        with tempfile.TemporaryDirectory(prefix="loftbook-") as scratch:
            built = _built(loaded, identity, Path(scratch))
            copy_to_port(Path(scratch), built.files, port, typer.echo)
    for line in _contents(built.files):
        typer.echo(f"  {line}")
    typer.echo(f"Payload        {built.payload}")
    typer.echo(f"Flight         {built.flight}")
    typer.echo(f"Configuration  {built.hash}")
    place = f"in {folder}" if folder else f"on {port}"
    typer.echo(f"{len(built.files)} files, {built.size} bytes, are {place}.")
    if folder:
        typer.echo("Next: copy everything in it to the board's own memory, or deploy with --port.")
    else:
        typer.echo("Next: put in a card (FAT32) and watch the console: it says whether it logs, and where.")


def _contents(files):
    # A line for each folder of modules and for each other file.
    modules = Counter(path.parent.as_posix() for path in files if path.suffix == ".mpy")
    for folder, number in sorted(modules.items()):
        yield f"{folder}/ ({number} modules)"
    yield from (path.as_posix() for path in files if path.suffix != ".mpy")


def _identity(flight):
    if not flight:
        return secrets.token_bytes(_FLIGHT_DIGITS // 2)
    try:
        if len(flight) != _FLIGHT_DIGITS:
            raise ValueError
        return bytes.fromhex(flight)
    except ValueError:
        message = f"--flight {flight}: must be {_FLIGHT_DIGITS} hexadecimal digits, as 5f3a1c22"
        raise LoftbookError(message) from None


def _into_folder(mission, flight, folder):
    if folder.exists() or folder.is_symlink():
        raise LoftbookError(f"{folder}: exists already and is not overwritten; name a new folder")
    parent = folder.absolute().parent
    if not parent.is_dir():
        raise LoftbookError(f"{folder}: its parent folder does not exist; make that first")
    with tempfile.TemporaryDirectory(prefix=".loftbook-", dir=parent) as scratch:
        result = Path(scratch) / "board"
        result.mkdir()
        built = _built(mission, flight, result)
        result.rename(folder)
    return built


def _built(mission, flight, folder):
    try:
        return build(mission, flight, folder)
    except ValueError as error:
        message = f"the board would refuse this configuration: {error}; change the mission file"
        raise LoftbookError(message) from None
