"""Options that several commands share."""

from pathlib import Path
from typing import Annotated

import typer

Source = Annotated[
    Path, typer.Argument(metavar="SOURCE", help="Card image, copied log or capture.", show_default=False)
]
PortUrl = Annotated[
    str,
    typer.Option("--port", metavar="URL", help="Device, socket://HOST:PORT, or pty.", show_default=False),
]
Baud = Annotated[int, typer.Option("--baud", min=1, metavar="N", help="Speed of a serial device.")]
