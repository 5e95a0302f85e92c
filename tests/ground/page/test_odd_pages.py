"""Flights that lack much: the page still comes, and says what it lacks."""

import csv

import pytest
from made_flight import keep, log_of
from page_flights import PLAN, write_log

from ground.library import load_flight
from ground.page.facts import headline
from ground.page.page import make_page
from ground.page.plot import NoPlot
from ground.page.plots import PLOTS, all_plots


def without(*kinds):
    log = log_of(PLAN)
    for kind in kinds:
        log = keep(log, kind, lambda tick_s: tick_s < 0)
    return log


ODD = {
    "no fix": (("fix",), {"track", "wind", "direction", "motion", "power"}),
    "nothing": (("fix", "pressure", "air"), {key for key, _ in PLOTS}),
}


@pytest.mark.parametrize("which", ODD)
def test_what_cannot_be_drawn_says_why(which, tmp_path):
    kinds, lacking = ODD[which]
    recorded = load_flight(write_log(tmp_path / "flight", without(*kinds), "Napraforgo-1"))
    plots = all_plots(recorded.case, recorded.statements)
    assert {plot.key for plot in plots if isinstance(plot, NoPlot)} == lacking
    page = make_page(recorded, plots)
    for plot in plots:
        assert not isinstance(plot, NoPlot) or f"No plot: {plot.reason}." in page.replace("&#39;", "'")
    assert " nan " not in page.split("<script")[0] and ">None<" not in page


def test_a_log_without_a_record_gives_a_page_without_a_plot(tmp_path):
    folder = write_log(tmp_path / "flight", log_of(PLAN), "")
    for path in folder.glob("*.csv"):
        path.unlink()
    recorded = load_flight(folder)
    page = make_page(recorded)
    assert "An unnamed payload" in page and "Date not known" in page
    assert page.count("No plot: ") == len(PLOTS)


def test_a_track_of_another_source_is_drawn_with_its_name_as_text(tmp_path):
    folder = write_log(tmp_path / "flight", log_of(PLAN), "Napraforgo-1")
    other = tmp_path / "<i>neighbour.csv"
    with open(folder / "fix.csv", encoding="utf-8", newline="") as file:
        fixes = [row for row in csv.DictReader(file) if row["latitude_deg"]][::20]
    lines = [f"{row['utc']},{row['latitude_deg']},{row['longitude_deg']},{row['height_m']}" for row in fixes]
    other.write_text("\n".join(["time,latitude,longitude,altitude", *lines]) + "\n", "utf-8")
    recorded = load_flight(folder, trackers=[other])
    track = next(plot for plot in all_plots(recorded.case, recorded.statements) if plot.key == "track")
    theirs = next(trace for trace in track.traces if "neighbour" in trace.name)
    ours = max(trace.x.max() for trace in track.traces if trace.name in ("Climb", "Fall"))
    assert len(theirs.x) == len(fixes) and abs(theirs.x.max() - ours) < 1.0  # km; the wind blows east
    assert "<i>" not in make_page(recorded).split("<script")[0]


def test_the_headline_takes_the_five_best_that_are_known(usual):
    facts = headline(usual.statements)
    assert [fact.title for fact in facts][:2] == ["Greatest height", "Flight time"] and len(facts) == 5
    unknown = {key: {**one, "value": None} for key, one in usual.statements.items() if key != "boots"}
    assert headline(unknown) == []
    doubtful = {**usual.statements, "greatest_height": {**usual.statements["greatest_height"], "confidence": "low"}}
    assert headline(doubtful)[0].title == "Flight time"
