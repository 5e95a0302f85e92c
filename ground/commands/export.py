"""`loftbook export`."""

from pathlib import Path
from typing import Annotated

import typer

from ground.commands.options import Folder, Mission
from ground.report.plain import printable

_MOST = 2000


def _list(wanted: bool):
    if not wanted:
        return
    from ground.export import FORMATS

    for name, (words, package) in FORMATS.items():
        typer.echo(f"{name:<9} {words}" + (f" (needs the package {package})" if package else ""))
    raise typer.Exit()


def export(
    folder: Folder,
    output: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="FOLDER", help="New folder for the files.", show_default=False),
    ],
    formats: Annotated[
        list[str] | None,
        typer.Option("--format", "-f", metavar="NAME", help="Only this one. May be given again. Else all."),
    ] = None,
    mission: Mission = None,
    show_list: Annotated[
        bool, typer.Option("--list", callback=_list, is_eager=True, help="Show the formats.")
    ] = False,
):
    """Writes a recovered flight for maps, tables and science.

    \b
    Example, everything, or only what a map takes:
      loftbook export napraforgo-1 -o napraforgo-1-files
      loftbook export napraforgo-1 -o napraforgo-1-map -f kml -f gpx

    FOLDER is one that loftbook recover made; it stays as it is. Heights are metres above mean sea level,
    times are UTC, each column's unit is in its name or in the file's own way of saying it.

    \b
    Exit code: 0 done; 1 could not start; 2 wrong usage.
    """
    # What reads and writes takes a while to load, which the other commands need not wait for.
    from ground.export import export_flight
    from ground.library import load_flight

    written, left_out = export_flight(load_flight(folder, mission), output, formats)
    for line in left_out:
        typer.echo(f"left out: {printable(line, _MOST)}")
    typer.echo(f"Written to {output}: {printable(', '.join(written), _MOST)}")
