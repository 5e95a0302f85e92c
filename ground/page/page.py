"""The report of a flight: one page of HTML that needs nothing else, neither files beside it nor a network."""

from importlib import resources

import jinja2
from markupsafe import Markup
from plotly.offline import get_plotlyjs

from ground.page import looks
from ground.page.cells import word_table
from ground.page.details import place, topics, unanswered
from ground.page.escape import clean, for_script, tie
from ground.page.facts import headline
from ground.page.interactive import describe
from ground.page.legend import legend
from ground.page.plot import NoPlot
from ground.page.plots import all_plots
from ground.report.plain import printable

MARKER = "loftbook report"  # in the head of each page that this program makes
_LONGEST_NAME = 100
UNNAMED = "An unnamed payload"


def make_page(recorded, plots=None, imperial=False):
    """Write the report of a flight as text (HTML).

    recorded: RecordedFlight. plots: what all_plots gives for it, or None. imperial: the units that it shows first.
    Whatever a card or a file holds is text in it, never markup.
    """
    plots = all_plots(recorded.case, recorded.statements) if plots is None else plots
    drawn = [describe(plot) for plot in plots if not isinstance(plot, NoPlot)]
    return _template().render(
        marker=MARKER, title=payload_name(recorded), when=when(recorded), site=_site(recorded), imperial=imperial,
        flight=clean(recorded.flight), facts=headline(recorded.statements), plots=[_shown(plot) for plot in plots],
        unknown=unanswered(recorded.statements), topics=topics(recorded.statements),
        notes=[clean(note) for note in recorded.notes],
        records=_records(recorded), palette=looks.PALETTE_SOURCE, plots_json=Markup(for_script(drawn)),
        style=_own("style.css"), script=_own("report.js"), plotly=Markup(get_plotlyjs()),
    )  # fmt: skip


def payload_name(recorded):
    """The payload's name, safe to print."""
    return printable(str(recorded.payload), _LONGEST_NAME) or UNNAMED


def when(recorded):
    """The day of the flight: that of the launch, else that of the first record with a time."""
    case = recorded.case
    utc = None if case.moments is None else case.moments.launch.utc
    if utc is None and case.timeline is not None:
        utc = case.timeline.utc(0.0)
    return "Date not known" if utc is None else str(utc)[:10]


def _site(recorded):
    """Where it was launched: the mission's word for it, else the place."""
    case = recorded.case
    if case.mission is not None:
        return clean(case.mission.launch.site)
    launch = None if case.moments is None else case.moments.launch
    if launch is None or launch.latitude_deg is None:
        return "launch site not known"
    return f"launched at {place(launch.latitude_deg, launch.longitude_deg)}"


def _template():
    loader = jinja2.FunctionLoader(
        lambda name: (resources.files(__package__) / "templates" / name).read_text("utf-8")
    )
    settings = {"autoescape": True, "undefined": jinja2.StrictUndefined, "trim_blocks": True, "lstrip_blocks": True}
    environment = jinja2.Environment(loader=loader, **settings)
    environment.filters["tie"] = tie
    return environment.get_template("report.html.j2")


def _own(name):
    """A file of this room, to stand in the page as it is."""
    return Markup((resources.files(__package__) / name).read_text("utf-8"))


def _shown(plot):
    """What the template needs to know about a plot."""
    if isinstance(plot, NoPlot):
        return {"key": plot.key, "heading": plot.heading, "reason": plot.reason, "table": None}
    return {
        "key": plot.key, "heading": plot.heading, "reason": None, "title": plot.title, "about": plot.about,
        "legend": legend(plot), "notes": plot.notes,
        "table": word_table(plot.table_name, plot.table) if plot.table else None, "folded": plot.folded,
    }  # fmt: skip


def _records(recorded):
    counts = recorded.case.log.records.items()
    return ", ".join(f"{count:,} {clean(kind)}".replace(",", " ") for kind, count in counts) or "none"
