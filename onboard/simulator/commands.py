"""The simulator's commands of the command line."""

from enum import Enum
from pathlib import Path
from typing import Annotated

import typer

from onboard.simulator import mishap_words
from onboard.simulator.bench import MINUTES, run_bench
from onboard.simulator.demo import DEMO_MISSION, run_demo
from onboard.simulator.fault_words import KINDS
from onboard.simulator.rehearsals import find_rehearsal, list_lines
from onboard.simulator.simulate import run_simulation

__all__ = ["DEMO_MISSION", "demo", "simulate"]


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


def _list(wanted: bool):
    if not wanted:
        return
    typer.echo("Rehearsals, for --rehearsal NAME:")
    for line in list_lines():
        typer.echo("  " + line)
    typer.echo()
    typer.echo("Faults, for --fault 'KIND TARGET FROM TO [NUMBER]':")
    for name, kind in KINDS.items():
        number = f"; NUMBER: {kind.meaning_for()} (else {kind.number})" if kind.meaning else ""
        typer.echo(f"  {name:<10} {kind.words}{number}")
        typer.echo(f"  {'':<10} of: {', '.join(kind.targets)}")
    typer.echo()
    typer.echo("Mishaps of balloon and payload, for --mishap 'KIND NUMBERS':")
    for line in mishap_words.list_lines():
        typer.echo("  " + line)
    raise typer.Exit()


def simulate(
    mission: Annotated[
        Path, typer.Argument(metavar="MISSION", help="The mission.toml of the payload.", show_default=False)
    ],
    output: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="FOLDER", help="New folder for everything.", show_default=False),
    ],
    fault: Annotated[
        list[str] | None,
        typer.Option("--fault", metavar="'KIND TARGET FROM TO [NUMBER]'", help="Goes wrong. May be given again."),
    ] = None,
    mishap: Annotated[
        list[str] | None,
        typer.Option("--mishap", metavar="'KIND NUMBERS'", help="Befalls the balloon. May be given again."),
    ] = None,
    rehearsal: Annotated[
        str | None, typer.Option("--rehearsal", metavar="NAME", help="One of those that --list shows.")
    ] = None,
    show_list: Annotated[
        bool, typer.Option("--list", callback=_list, is_eager=True, help="Show rehearsals, faults and mishaps.")
    ] = False,
    deployed: Annotated[
        Path | None,
        typer.Option(
            "--deployed", metavar="FOLDER", show_default=False,
            help="Run the files that deploy made, unchanged, on MicroPython with a virtual machine.",
        ),
    ] = None,
    minutes: Annotated[
        int | None,
        typer.Option(
            "--minutes", metavar="N", min=1, show_default=False,
            help=f"With --deployed: until the power goes off; else {MINUTES}.",
        ),
    ] = None,
    seed: Annotated[int, typer.Option("--seed", metavar="N", min=0, help="Another flight, another noise.")] = 1,
    interpreter: Annotated[
        Interpreter,
        typer.Option("--interpreter", metavar="NAME", help="unix or wasm: real MicroPython; cpython."),
    ] = Interpreter.unix,
):
    """Flies a payload in simulation, with things going wrong.

    \b
    Examples:
      loftbook simulate --list
      loftbook simulate mission.toml -o trial --rehearsal loose-plug
      loftbook simulate mission.toml -o trial --fault 'silent barometer climb+600 burst-60'
      loftbook simulate mission.toml -o trial --mishap 'float 18000 2400' --mishap 'tree 12'
      loftbook simulate mission.toml -o bench --deployed board

    The logger's own code flies through the mission's sounding on MicroPython. FROM and TO are seconds since
    launch, or power-on, launch, climb, burst, fall, landing, end, with +60 or -60 behind them. A mishap befalls
    the balloon or the payload, so that the flight itself is another one. Then the card is recovered, and a report
    says what was injected, what the log says about it, what was lost, and whether the flight's main numbers still
    agree with the truth.

    With --deployed, the files that `loftbook deploy mission.toml --to-folder board` made run as they are, with
    every sensor on its bus and the card bit for bit over SPI; nothing goes wrong there.

    \b
    Exit code: 0 done, whatever the report says; 1 could not start; 2 wrong usage.
    """
    if deployed is not None:
        if fault or mishap or rehearsal:
            raise typer.BadParameter(
                "nothing can go wrong with --deployed; leave --fault, --mishap and --rehearsal out"
            )
        if interpreter is Interpreter.cpython:
            raise typer.BadParameter("--deployed runs on MicroPython only: --interpreter unix or wasm")
        run_bench(mission, deployed, output, minutes or MINUTES, seed, interpreter.value, typer.echo)
        return
    if minutes is not None:
        raise typer.BadParameter("--minutes goes with --deployed")
    chosen = find_rehearsal(rehearsal) if rehearsal else None
    run_simulation(mission, output, fault or [], chosen, seed, interpreter.value, typer.echo, mishap or [])
