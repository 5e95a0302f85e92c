"""Plots of flights that did not go as usual: what they show is true of them."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from made_flight import keep, log_of, truth_of
from page_flights import PLAN, write_log

from ground.analyse.series import Series
from ground.decode.tables import Table
from ground.library import load_flight
from ground.page.page import make_page
from ground.page.plot import NoPlot
from ground.page.plots import all_plots, coverage, height, speed
from ground.page.plots.thermometers import is_left_out

FLOAT = replace(PLAN, float_s=900.0, burst_m=4000.0)
LOW_CEILING = replace(PLAN, burst_m=4000.0, ceiling_m=1500.0)


def plots_of(folder, log):
    recorded = load_flight(write_log(folder / "flight", log, "Napraforgo-1"))
    plots = all_plots(recorded.case, recorded.statements)
    return recorded, {plot.key: plot for plot in plots if not isinstance(plot, NoPlot)}


def named(plot, name):
    return next((trace for trace in plot.traces if trace.name == name), None)


def test_a_float_is_a_stage_of_its_own_and_the_fall_begins_after_it(tmp_path):
    _, plots = plots_of(tmp_path, log_of(FLOAT))
    truth = truth_of(FLOAT)
    fall_min = (truth.burst_s - truth.launch_s) / 60.0
    drawn = plots["height"]
    assert abs(named(drawn, "Float").x.max() - fall_min) < 0.5 and np.ptp(named(drawn, "Float").x) > 12.0
    assert abs(named(drawn, "Fall").x.min() - fall_min) < 0.5
    assert named(drawn, "Climb").x.max() < fall_min - 12.0
    assert "floated" in drawn.title.metric and named(drawn, "Burst, or cut loose") is None
    # The fall's own speeds begin at the end of the float: none is near nought for long.
    assert np.nanmax(named(plots["fall"], "Measured").y) < 4100.0


def test_no_place_is_marked_where_there_is_no_fix(tmp_path):
    recorded, plots = plots_of(tmp_path, log_of(LOW_CEILING))
    assert recorded.case.moments.burst.time_s is not None  # the barometer knows when
    track = plots["track"]
    assert named(track, "Burst, or cut loose") is None and any("No mark" in note for note in track.notes)
    assert named(track, "Launch") is not None
    assert named(plots["height"], "From air pressure, no fix") is not None
    truth = truth_of(LOW_CEILING)
    fastest = np.gradient(truth.height_m, truth.time_s).min()
    # Without the barometer the fastest part of the fall would be missing from a plot whose title tells it.
    by_air = speed._by_air(recorded.case, recorded.case.heights.combined)[0]
    for trace in (by_air, named(plots["speed"], "Fall")):
        assert np.nanmin(trace.y) == pytest.approx(fastest, rel=0.1)
    assert "known" in plots["wind"].title.metric


def test_a_thermometer_that_stands_still_is_marked(tmp_path):
    log = log_of(replace(PLAN, burst_m=9000.0))
    air = log.records["air"]
    stuck = slice(int(0.3 * len(air.values)), int(0.7 * len(air.values)))
    air.values["temperature_counts"][stuck] = air.values["temperature_counts"][stuck.start]
    recorded, plots = plots_of(tmp_path, log)
    out = named(plots["temperature"], "Left out: not the air's temperature")
    measured = [trace for trace in plots["temperature"].traces if trace.name.startswith("Measured")]
    series = recorded.case.timeline.series("air", ("temperature_degC",))
    left = is_left_out(recorded.case, "temperature_degC", series.time_s)
    frozen = np.median(series["temperature_degC"][stuck])
    assert np.ptp(out.x) < 0.1 and abs(np.median(out.x) - frozen) < 0.1
    assert left.sum() > 0.8 * (stuck.stop - stuck.start)
    shown = np.concatenate([trace.x for trace in measured])
    assert (np.abs(shown - frozen) < 1e-6).sum() < 0.05 * left.sum()
    air_line = (
        next(trace for panel in plots.get("power").panels for trace in panel.traces) if "power" in plots else None
    )
    assert air_line is None or len(air_line.x) < len(series)


def test_losses_do_not_hide_each_other(tmp_path):
    # Every other block of 20 s is lost: bars and gaps must fill the row between them.
    log = log_of(PLAN)
    for kind in ("fix", "pressure", "air"):
        log = keep(log, kind, lambda tick_s: (tick_s // 20).astype(int) % 2 == 0)
    _, plots = plots_of(tmp_path, log)
    drawn = plots["coverage"]
    row = next(place for place, kind in drawn.panels[0].y.labels if kind == "fix")
    covered = 0.0
    for name in ("Came back whole", "Gap"):
        trace = named(drawn, name)
        mine = trace.y == row
        begins, ends = trace.x[mine][::2], trace.x[mine][1::2]
        covered += float((ends - begins).sum())
    whole = np.concatenate([trace.x[trace.y == row] for trace in drawn.traces])
    assert covered == pytest.approx(np.ptp(whole), rel=0.08)


@pytest.mark.parametrize(
    ("share", "title"),
    [(100.0, "All that the board wrote came back"), (99.99, "99.9 % of what the board wrote came back")],
)
def test_only_all_is_called_all(share, title):
    assert coverage._title({"data_recovered": {"value": share}}).metric == title


def test_events_that_bear_one_tick_are_all_named():
    columns = {
        "boot": np.array([1.0, 1.0]), "tick_ms": np.array([100.0, 100.0]),
        "event": np.array(["booted", "phase changed"], object), "subject_name": np.array(["", "waiting"], object),
    }  # fmt: skip
    table = Table("event", columns, {})
    series = Series(np.zeros(2), {}, columns["boot"], columns["tick_ms"], "event")
    case = SimpleNamespace(
        timeline=SimpleNamespace(series=lambda *_: series), flight=SimpleNamespace(tables={"event": table}),
        clock_text=lambda _: "10:00:00 UTC",
    )  # fmt: skip
    trace = height._events(case, lambda time_s: (time_s, 0.0))
    assert len(trace.x) == 1 and "booted; phase changed (waiting)" in trace.labels[0].metric


def test_the_page_lists_what_it_cannot_tell(usual, usual_page):
    unknown = [one for one in usual.statements.values() if one["confidence"] == "cannot tell"]
    assert unknown  # a flight to 2.5 km has no tropopause (it lies above 500 hPa by definition, WMO 1957)
    listed = usual_page.split('<section id="unknown">')[1].split("</section>")[0]
    assert listed.count("<li>") == len(unknown)
    assert all(f'href="#say-{one["id"]}"' in listed for one in unknown)


def test_an_endless_name_is_cut(tmp_path):
    recorded = load_flight(write_log(tmp_path / "flight", log_of(PLAN), "W" * 300))
    page = make_page(recorded)
    assert "W" * 101 not in page and "W" * 30 in page.split("</h1>")[0]
