"""Options that several commands share."""

from pathlib import Path
from typing import Annotated

import typer

Sources = Annotated[
    list[Path],
    typer.Argument(metavar="SOURCE", help="Card images, copied logs, captures.", show_default=False),
]
PortUrl = Annotated[
    str,
    typer.Option("--port", metavar="URL", help="Device, socket://HOST:PORT, or pty.", show_default=False),
]
Baud = Annotated[int, typer.Option("--baud", min=1, metavar="N", help="Speed of a serial device.")]
Folder = Annotated[
    Path,
    typer.Argument(metavar="FOLDER", help="A folder that loftbook recover made.", show_default=False),
]
Mission = Annotated[
    Path | None,
    typer.Option(
        "--mission",
        metavar="FILE",
        help="The mission.toml, for better answers.",
        show_default=False,
    ),
]
Trackers = Annotated[
    list[Path] | None,
    typer.Option(
        "--tracker",
        metavar="FILE",
        help="CSV or GPX of a tracker; once or more.",
        show_default=False,
    ),
]
