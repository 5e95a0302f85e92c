"""Recovered folders that somebody changed, or that a broken clock wrote: an answer or one line, never a crash.

What is checked is Loftbook's own promise about its texts; there is no outside source for it.
"""

import json
import re
import shutil
import tracemalloc
from dataclasses import replace

import numpy as np
import pandas
import pytest
from exported_flights import PLAN, recorded
from made_flight import log_of, truth_of

from ground import cli, load_flight
from ground.analyse.landing_place import find_after_landing
from ground.errors import LoftbookError
from ground.export import export_flight
from ground.export.geojson import _cut
from ground.export.sounding import sounding_levels
from ground.export.track import flight_track

ODD_WORDS = re.compile(r"\bnan\b|\bNone\b|\binf\b|\bunknown\b|[{}]|  ")


@pytest.fixture
def folder(record, tmp_path):
    copy = tmp_path / "flight"
    shutil.copytree(record.folder, copy)
    return copy


def change(folder, kind, make):
    """Rewrite a table. make: function of a pandas.DataFrame of text that changes it."""
    table = pandas.read_csv(folder / f"{kind}.csv", dtype=str, keep_default_na=False)
    make(table)
    table.to_csv(folder / f"{kind}.csv", index=False)


def kinds(folder):
    return sorted(path.stem for path in folder.glob("*.csv"))


def without_utc(folder):
    for kind in kinds(folder):
        change(folder, kind, lambda table: table.__setitem__("utc", ""))
    summary = json.loads((folder / "summary.json").read_text("utf-8"))
    for boot in summary["boots"]:
        boot["first_utc"] = boot["last_utc"] = None
    (folder / "summary.json").write_text(json.dumps(summary), "utf-8")


def check_texts(statements):
    for key, said in statements.items():
        for text in (said["text"], said["text_imperial"]):
            assert text.endswith(".") and not ODD_WORDS.search(text), (key, text)
    json.dumps(statements, allow_nan=False)


def test_a_word_in_a_column_of_numbers_is_refused_with_its_line(folder):
    change(folder, "pressure", lambda table: table.loc.__setitem__((40, "pressure_hPa"), "1,5"))
    with pytest.raises(LoftbookError, match="pressure.csv: column pressure_hPa: line 42 holds '1,5', which is no"):
        load_flight(folder)


def test_a_column_that_is_all_words_is_as_good_as_missing(folder):
    for kind, name in (("pressure", "pressure_hPa"), ("fix", "quality")):
        change(folder, kind, lambda table, name=name: table.__setitem__(name, "one"))
    statements = load_flight(folder).statements
    check_texts(statements)
    assert statements["ground_pressure"]["value"] is None and statements["greatest_height"]["value"] > 13_000


def test_times_that_stand_still_and_infinite_numbers_crash_nothing(folder, tmp_path):
    for kind in kinds(folder):
        change(folder, kind, lambda table: table.__setitem__("utc", table["utc"].iloc[50]))
    change(folder, "fix", lambda table: table.loc.__setitem__((slice(60, 90), "height_m"), "1e999"))
    read = load_flight(folder)
    check_texts(read.statements)
    export_flight(read, tmp_path / "out", ["json", "sounding", "geojson"])


def test_negative_pressures_crash_nothing(folder):
    change(folder, "pressure", lambda table: table.__setitem__("pressure_hPa", "-" + table["pressure_hPa"]))
    check_texts(load_flight(folder).statements)


def test_without_a_launch_no_time_is_told_since_launch(tmp_path):
    after = truth_of(PLAN).burst_s + 60.0
    falls = recorded(tmp_path / "falls", log_of(PLAN)).folder
    for kind in kinds(falls):
        path = falls / f"{kind}.csv"
        table = pandas.read_csv(path, dtype=str, keep_default_na=False)
        table[table["tick_ms"].astype(int) > 1000 * after].to_csv(path, index=False)
    without_utc(falls)
    statements = load_flight(falls).statements
    check_texts(statements)
    assert statements["launch"]["value"] is None
    assert not [key for key, said in statements.items() if re.search("(after|before) launch", said["text"])]
    assert "after the first height" in statements["landing"]["text"]
    # The log begins at more than 10 km: nothing there is at the ground, and the top is not the flight's.
    assert not statements["inversions"]["text"].startswith("At the ground")
    assert statements["greatest_height"]["text"].startswith("As far as the data go")
    for key in ("pressure_at_top", "coldest_air"):
        assert any("data begin or end" in line for line in statements[key]["caveats"]), key


def test_devices_and_broken_ledgers_in_the_folder_do_no_harm(folder):
    (folder / "endless.csv").symlink_to("/dev/zero")
    assert "endless" not in load_flight(folder).tables
    for content in ("[1]", "[" * 100_000, '{"losses": [1]}'):
        (folder / "ledger.json").write_text(content)
        with pytest.raises(LoftbookError, match="ledger.json: is no"):
            load_flight(folder)


def test_levels_passed_in_one_moment_have_no_rate(record):
    case = record.case
    combined = case.heights.combined
    jumped = combined.time_s.copy()
    jumped[(combined["height_m"] > 4000.0) & (jumped < case.window.top_s)] = jumped[
        np.argmax(combined["height_m"] > 4000.0)
    ]
    heights = replace(case.heights, combined=replace(combined, time_s=np.sort(jumped)))
    with np.errstate(all="raise"):
        levels = sounding_levels(replace(record, case=replace(case, heights=heights, _found={})))
    assert np.isnan(levels["ascent_rate_m_s"]).any() and not np.isinf(levels["ascent_rate_m_s"]).any()


def test_the_antimeridian_itself_is_one_place(record):
    track = flight_track(record.case).where(np.arange(3))
    edge = replace(track, longitude_deg=np.array([179.99999999999997, -180.0, -180.0]))
    assert sum(len(run) for run in _cut(edge, range(3))) == 5  # RFC 7946, 3.1.9: cut, with a point on either side


def test_a_message_holds_no_control_characters(capsys, tmp_path):
    with pytest.raises(SystemExit):
        cli.main(["ask", str(tmp_path / "\x1b[2J"), "launch"])
    assert "\x1b" not in capsys.readouterr().err
    with pytest.raises(SystemExit):
        cli.main(["ask", str(tmp_path), "launch"])


def test_years_between_fixes_after_the_landing_are_not_searched_step_by_step(record):
    fixes = record.case.fixes
    late = fixes.time_s[-1] - 30.0
    # 1024 weeks: by so much a receiver's date jumps (IS-GPS-200, week number of ten bits; from memory).
    time_s = np.where(fixes.time_s > late, fixes.time_s + 1024 * 7 * 86_400.0, fixes.time_s)
    tracemalloc.start()
    find_after_landing(replace(fixes, time_s=time_s), record.case.heights, record.case.moments.landing.time_s)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 200e6


def test_one_record_from_another_century_costs_no_memory(folder):
    change(folder, "fix", lambda table: table.loc.__setitem__((700, "utc"), "2200-01-01T00:00:00.000Z"))
    tracemalloc.start()
    statements = load_flight(folder).statements
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 400e6
    check_texts(statements)
