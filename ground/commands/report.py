"""`loftbook report`."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from ground.commands.options import Folder, Mission, Trackers
from ground.library import load_flight

NAME = "report.html"


class Units(StrEnum):
    """The units that a report shows first."""

    METRIC = "metric"
    IMPERIAL = "imperial"


def report(
    folder: Folder,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE", help="The page to write, else FOLDER/report.html."),
    ] = None,
    mission: Mission = None,
    trackers: Trackers = None,
    pictures: Annotated[
        Path | None,
        typer.Option("--png", metavar="FOLDER", help="Also a new folder of pictures, one a plot."),
    ] = None,
    units: Annotated[Units, typer.Option("--units", help="Units to begin with.")] = Units.METRIC,
):
    """Makes a page that shows a recovered flight.

    \b
    Example, with a picture of each plot for a poster:
      loftbook report napraforgo-1 --png napraforgo-1-pictures

    The page is one file for a browser, a phone or paper: plots, what the data say and what that rests on. It
    needs no network and can be sent as it is; units can be changed in it, pictures
    have one kind. FILE is never written over, unless it is a report that this
    command made.

    \b
    Exit code: 0 done; 1 could not start; 2 wrong usage.
    """
    # Plotting takes a while to load, which the other commands need not wait for.
    from ground.new_folder import check_output
    from ground.page.page import make_page
    from ground.page.plots import all_plots
    from ground.page.write import check_report, write_pictures, write_report

    path = folder / NAME if output is None else output
    if folder.is_dir():
        check_report(path)
    if pictures is not None:
        check_output(pictures)
    recorded = load_flight(folder, mission, trackers or ())
    imperial = units is Units.IMPERIAL
    plots = all_plots(recorded.case, recorded.statements)
    write_report(path, make_page(recorded, plots, imperial))
    typer.echo(f"Written to {path}: open it in a browser")
    if pictures is not None:
        names = write_pictures(pictures, recorded, plots, imperial)
        typer.echo(f"Written to {pictures}: {', '.join(names) or 'no plot could be drawn'}")
