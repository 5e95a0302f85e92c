"""The output folder: complete, readable by anything that reads CSV and JSON, and whole or absent."""

import csv
import json
from datetime import datetime, timedelta, timezone

import numpy as np
import pytest
from made_flight import FLIGHT, START_UTC_MS, Plan, boot_log, log_of, records_of, recovered_of, truth_of

from ground.decode import decode_flight, group_boots
from ground.errors import LoftbookError
from ground.layout import FieldLayout, KindLayout
from ground.recover.result import KindRecords
from ground.new_folder import check_output
from ground.report import write, write_flight, write_flights
from ground.statements import summarise

PLAN = Plan(burst_m=2000.0, wait_s=120.0, rest_s=120.0)


def results_of(*logs):
    recovered = recovered_of(logs)
    flights = [decode_flight(boots) for boots in group_boots(logs).values()]
    return [(flight, summarise(flight, recovered)) for flight in flights], recovered


def write_out(folder, *logs):
    results, recovered = results_of(*logs)
    write_flights(folder, results, recovered)
    return results


def rows_of(path):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("out") / "napraforgo-1"
    [(flight, summary)] = write_out(folder, log_of(PLAN))
    return folder, flight, summary


def test_a_flight_fills_the_folder(written):
    folder, flight, _ = written
    names = {f"{kind}.csv" for kind in flight.tables}
    names |= {"summary.txt", "summary.json", "account.txt", "card.svg", "ledger.json"}
    assert {path.name for path in folder.iterdir()} == names


def test_every_record_is_a_row_and_every_number_keeps_its_resolution(written):
    folder, flight, _ = written
    for kind, table in flight.tables.items():
        rows = rows_of(folder / f"{kind}.csv")
        assert len(rows) == len(table) == len(flight.boots[0].records[kind].tick_ms)
        assert list(rows[0])[:4] == ["utc", "seconds_since_launch", "boot", "tick_ms"]
        for name, decimals in table.decimals.items():
            read = np.array([float(row[name] or "nan") for row in rows])
            np.testing.assert_allclose(read, table.columns[name], atol=0.5001 * 10.0**-decimals)
            assert not any(row[name].startswith("-0") and float(row[name]) == 0 for row in rows)


def test_a_stored_fix_is_written_digit_for_digit(written):
    folder, flight, _ = written
    stored = flight.boots[0].records["fix"].values
    for row, values in zip(rows_of(folder / "fix.csv"), stored):
        assert round(float(row["latitude_deg"]) * 5e6) == values["latitude"]
        assert row["height_m"] == f"{values['height'] / 100:.2f}"
        assert row["vertical_speed_m_s"] == ""


def test_times_are_iso_8601_and_count_from_the_launch(written):
    folder, _, summary = written
    launch = datetime.fromisoformat(summary["statements"]["launch"]["utc"])
    start = datetime.fromtimestamp(START_UTC_MS / 1000, timezone.utc)
    assert abs(launch - start - timedelta(seconds=truth_of(PLAN).launch_s)) < timedelta(seconds=3)
    for row in rows_of(folder / "pressure.csv"):
        assert row["utc"].endswith("Z") and len(row["utc"]) == len("2026-05-09T08:00:00.000Z")
        since = (datetime.fromisoformat(row["utc"]) - launch).total_seconds()
        assert float(row["seconds_since_launch"]) == pytest.approx(since, abs=1e-6)


def test_what_has_no_utc_has_an_empty_cell(tmp_path):
    second = boot_log({"air": records_of("air", [1000], temperature_counts=30000)}, boot=2)
    write_out(tmp_path / "out", log_of(PLAN), second)
    last = rows_of(tmp_path / "out" / "air.csv")[-1]
    assert (last["utc"], last["seconds_since_launch"], last["boot"], last["tick_ms"]) == ("", "", "2", "1000")


def test_the_summary_is_there_in_words_and_for_programs(written):
    folder, _, summary = written
    assert json.loads((folder / "summary.json").read_text("utf-8")) == json.loads(json.dumps(summary))
    text = (folder / "summary.txt").read_text("utf-8")
    assert text.startswith(f"Flight {FLIGHT}, payload Napraforgo-1\n") and "fix.height_m" in text
    assert json.loads((folder / "ledger.json").read_text("utf-8"))["source"]["name"] == "made.img"


def test_several_flights_have_a_folder_each(tmp_path):
    stale = boot_log({"air": records_of("air", [1])}, flight="ff000000")
    write_out(tmp_path / "out", log_of(PLAN), stale)
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {"flight-1a2b3c4d", "flight-ff000000", "card.svg", "ledger.json"}
    assert (tmp_path / "out" / "flight-ff000000" / "air.csv").is_file()


def test_words_in_a_table_survive_commas_quotes_and_lines(tmp_path):
    layout = KindLayout(77, "note", (FieldLayout("words", "20s", 1, "1"),))
    words = ["a,b", 'say "szia"', "two\nlines", "\u0151szi k\u00f6d"]
    values = np.array([(w.encode(),) for w in words], layout.dtype)
    write_out(tmp_path / "out", boot_log({"note": KindRecords(layout, np.arange(4), values)}))
    assert [row["words"] for row in rows_of(tmp_path / "out" / "note.csv")] == words


def test_kinds_with_dangerous_names_stay_inside_the_folder(tmp_path):
    records = {}
    for number, name in enumerate(["../../evil", "Air", "air", "summary.txt", "\u0151"]):
        layout = KindLayout(100 + number, name, (FieldLayout("a", "B", 1, "1"),))
        records[name] = KindRecords(layout, np.array([1]), np.zeros(1, layout.dtype))
    write_out(tmp_path / "out", boot_log(records))
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
    tables = [path.name for path in (tmp_path / "out").iterdir() if path.suffix == ".csv"]
    assert len(tables) == 5 and len({name.lower() for name in tables}) == 5


def test_an_existing_folder_is_refused_and_left_alone(tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("mine")
    with pytest.raises(LoftbookError, match="exists already") as caught:
        write_out(tmp_path / "out", log_of(PLAN))
    assert caught.value.exit_code == 1
    assert [path.name for path in tmp_path.rglob("*")] == ["out", "mine.txt"]


def test_a_folder_inside_the_source_is_refused(tmp_path):
    (tmp_path / "card" / "deeper").mkdir(parents=True)
    link = tmp_path / "elsewhere"
    link.symlink_to(tmp_path / "card" / "deeper")
    for inside in (tmp_path / "card" / "out", tmp_path / "card" / "deeper" / "out", link / "out"):
        with pytest.raises(LoftbookError, match="inside the source"):
            check_output(inside, tmp_path / "card")
    check_output(tmp_path / "card-out", tmp_path / "card")
    (tmp_path / "card.img").write_bytes(b"")
    check_output(tmp_path / "out", tmp_path / "card.img")


def test_a_missing_parent_is_refused(tmp_path):
    with pytest.raises(LoftbookError, match="make it first"):
        check_output(tmp_path / "no" / "out")


@pytest.mark.parametrize(
    "failure", [OSError(28, "No space left on device"), KeyboardInterrupt(), ValueError("bug")]
)
@pytest.mark.parametrize("at", [0, 2, 5])
def test_whatever_stops_the_writing_leaves_nothing(tmp_path, monkeypatch, failure, at):
    results, recovered = results_of(log_of(PLAN))
    calls, table, as_json = [], write.write_table, write._write_json

    def failing(real):
        def call(*arguments):
            calls.append(arguments)
            if len(calls) > at or real is as_json:
                raise failure
            return real(*arguments)

        return call

    monkeypatch.setattr(write, "write_table", failing(table))
    monkeypatch.setattr(write, "_write_json", failing(as_json))
    expected = LoftbookError if isinstance(failure, OSError) else type(failure)
    with pytest.raises(expected):
        write_flight(tmp_path / "out", *results[0], recovered)
    assert calls and list(tmp_path.iterdir()) == []


def test_the_folder_is_as_readable_as_any_new_one(written, tmp_path):
    (tmp_path / "new").mkdir()
    assert written[0].stat().st_mode == (tmp_path / "new").stat().st_mode


def test_a_large_table_is_written_in_full(tmp_path):
    rows = 45_000  # more than two portions
    counts = np.arange(rows) % 65536 - 32767
    records = records_of("motion", np.arange(rows) * 100, acceleration_x_counts=counts)
    write_out(tmp_path / "out", boot_log({"motion": records}))
    read = [row["acceleration_x_m_s2"] for row in rows_of(tmp_path / "out" / "motion.csv")]
    # RM-MPU-6000A: 2048 counts per g at a range of 16 g; 9.80665 m/s2 per g.
    np.testing.assert_allclose(np.array(read, float), counts / 2048 * 9.80665, atol=5.1e-5)
