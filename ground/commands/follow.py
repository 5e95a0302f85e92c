"""`loftbook follow`."""

import signal
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from ground.commands.options import Baud, PortUrl
from ground.commands.shared import count
from ground.errors import LoftbookError
from ground.link.follow import Follower, follow_port
from ground.link.port import open_port


def follow(
    port: PortUrl,
    capture: Annotated[
        Path,
        typer.Option(
            "--capture", metavar="FILE", help="New file for every byte received.", show_default=False
        ),
    ],
    seconds: Annotated[
        float | None,
        typer.Option("--seconds", min=0, metavar="N", help="Stop after so long.", show_default="never"),
    ] = None,
    baud: Baud = 115200,
):
    """Listens to a payload: keeps every byte, says what it hears.

    \b
    Example, with the radio receiver on a USB port:
      loftbook follow --port /dev/ttyUSB0 --capture napraforgo-radio.bin

    A line a second says what is known. Ends with the stream, after --seconds, or with Ctrl-C.
    The capture is a source for recover.
    """
    exists = LoftbookError(f"{capture}: already exists; choose another file, so that nothing is overwritten")
    if capture.exists() or capture.is_symlink():
        raise exists
    line = open_port(port, baud)
    try:
        try:
            file = open(capture, "xb")
        except FileExistsError:
            raise exists from None
        except OSError as error:
            raise LoftbookError(
                f"{capture}: cannot be made: {error.strerror}; choose another place"
            ) from None
        with file, _stop_on_interrupt() as stopped:
            _follow(line, Follower(file), capture, seconds, stopped)
    finally:
        line.close()


def _follow(line, follower, capture, seconds, stopped):
    try:
        why = follow_port(line, follower, typer.echo, seconds, stopped)
    except LoftbookError as error:
        raise LoftbookError(f"{error}; the {count(follower.bytes, 'byte')} before are in {capture}") from None
    typer.echo(
        f"{why}; {count(follower.packets, 'packet')} good, "
        f"{count(follower.not_understood, 'byte')} not understood, "
        f"{count(follower.bytes, 'byte')} kept in {capture}"
    )


@contextmanager
def _stop_on_interrupt():
    """Ctrl-C ends the listening between two reads, so that no byte is read and then not kept."""
    interrupted = []
    before = signal.signal(signal.SIGINT, lambda *_: interrupted.append(True))
    try:
        yield lambda: bool(interrupted)
    finally:
        signal.signal(signal.SIGINT, before)
