"""`loftbook replay`."""

from typing import Annotated

import typer

from ground.commands.options import Baud, PortUrl, Sources
from ground.commands.shared import count, flight_title, progress_bar, recover_or_fail
from ground.link.pace import Pace
from ground.link.port import open_port
from ground.link.replay import choose_flight, replay_boots


def replay(
    sources: Sources,
    port: PortUrl,
    speed: Annotated[
        float, typer.Option("--speed", min=0, metavar="N", help="Times real time; 0 = as fast as it goes.")
    ] = 1.0,
    flight: Annotated[
        str | None,
        typer.Option("--flight", metavar="ID", help="Which flight.", show_default="the last in SOURCE"),
    ] = None,
    baud: Baud = 115200,
):
    """Sends a recovered flight over a port again, packet by packet.

    \b
    Example, to rehearse with the ground station, ten times as fast:
      loftbook replay napraforgo-card.img --port /dev/ttyUSB0 --speed 10

    With --port pty it makes a pseudo-terminal and waits until another program has opened it.
    """
    recovered = recover_or_fail(sources)
    boots = choose_flight(recovered.boots, flight)
    others = sorted({boot.flight for boot in recovered.boots} - {boots[0].flight})
    names = ", ".join(map(str, sources))
    also = f"; also in {names}: {', '.join(others)}" if others else ""
    line = open_port(port, baud)
    typer.echo(f"sending flight {flight_title(boots)}, {count(len(boots), 'boot')}{also}")
    try:
        with progress_bar() as progress:
            total = sum(len(kind.tick_ms) for boot in boots for kind in boot.records.values())
            task = progress.add_task("sending", total=total)

            def show(boot, packet, sent):
                text = f"boot {boot.boot}, {packet.last_tick_ms // 1000} s"
                progress.update(task, completed=sent.records, description=text)

            sent = replay_boots(boots, line, Pace(speed), show)
    finally:
        line.close()
    typer.echo(
        f"sent {count(sent.packets, 'packet')}, {count(sent.records, 'record')}, {count(sent.bytes, 'byte')}"
    )
    if sent.left_out:
        typer.echo(f"left out {count(sent.left_out, 'record')}, too long for a packet")
