"""The simulator's commands of the command line."""

from enum import Enum
from pathlib import Path
from typing import Annotated

import typer

from onboard.simulator.demo import DEMO_MISSION, run_demo

__all__ = ["DEMO_MISSION", "demo"]


class Interpreter(str, Enum):
    """Where the firmware runs."""

    unix = "unix"
    wasm = "wasm"
    cpython = "cpython"


def demo(
    output: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="FOLDER", help="New folder for everything that the demo makes."),
    ] = Path("loftbook-demo"),
    seed: Annotated[int, typer.Option("--seed", metavar="N", min=0, help="Another flight, another damage.")] = 1,
    interpreter: Annotated[
        Interpreter,
        typer.Option("--interpreter", metavar="NAME", help="unix or wasm: real MicroPython; cpython."),
    ] = Interpreter.unix,
):
    """Flies an invented payload, damages its card and recovers it.

    \b
    Example:
      loftbook demo -o napraforgo-demo

    The logger's own code flies Napraforgo-1 through a real sounding on MicroPython. Then its card loses
    what cards lose: the last write is torn, a hundred bits flip, eight sectors are wiped, and the file
    system's tables are gone. What was recovered is set beside the truth. The folder keeps it all.

    \b
    Exit code: 0 done; 1 could not start; 2 wrong usage.
    """
    run_demo(output, seed, interpreter.value, typer.echo)
