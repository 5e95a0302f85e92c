"""`loftbook new`."""

import os
import tempfile
from importlib import resources
from pathlib import Path
from typing import Annotated

import typer

from ground.errors import LoftbookError

FILE_NAME = "mission.toml"
_TEMPLATE = "mission-template.toml"


def new(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder to make.", show_default=False)],
):
    """Makes a folder with a mission.toml to begin with.

    \b
    Example, for a payload of which nothing is written down yet:
      loftbook new napraforgo-1

    The file explains every key and describes an invented payload; it can be simulated as it is. Edit it to
    what you have.
    """
    path = make_mission(folder)
    typer.echo(f"wrote {path}: an invented payload to begin with; edit it to what you have")


def make_mission(folder):
    """Make a folder with the template in it. folder: Path. Returns the Path of the new file.

    Raises LoftbookError if the folder exists, or cannot be made. The folder appears with the file in it.
    """
    folder = Path(folder)
    if os.path.lexists(folder):
        raise LoftbookError(f"{folder}: already exists; name a folder that does not, nothing is written over")
    parent = folder.absolute().parent
    if not parent.is_dir():
        raise LoftbookError(f"{folder}: its parent folder does not exist; make that first")
    try:
        with tempfile.TemporaryDirectory(prefix=".loftbook-", dir=parent) as scratch:
            made = Path(scratch) / "new"
            made.mkdir()
            (made / FILE_NAME).write_text(template(), "utf-8", newline="\n")
            made.rename(folder)
    except OSError as error:
        raise LoftbookError(f"{folder}: cannot be made: {error.strerror or error}") from None
    return folder / FILE_NAME


def template():
    """The text of the mission file that a team begins with."""
    return (resources.files("ground.commands") / _TEMPLATE).read_text("utf-8")
