"""A recovered folder loaded again: the same tables, the same statements, and errors that say what to do."""

import json
import shutil

import numpy as np
import pandas
import pytest
from exported_flights import PLAN
from made_flight import log_of, recovered_of

from ground import load_flight
from ground.decode import decode_flight
from ground.errors import LoftbookError
from ground.statements import summarise


@pytest.fixture(scope="module")
def fresh(record):
    """The flight of `record` before it was written: (Flight, Summary)."""
    flight = decode_flight([log_of(PLAN)])
    return flight, summarise(flight, recovered_of([log_of(PLAN)]))


@pytest.fixture
def folder(record, tmp_path):
    """A copy of the recovered folder, to spoil."""
    copy = tmp_path / "flight"
    shutil.copytree(record.folder, copy)
    return copy


def test_tables_come_back_as_they_were(record, fresh):
    flight, _ = fresh
    assert set(record.tables) == set(flight.tables)
    for kind, table in flight.tables.items():
        assert list(record.tables[kind]) == list(table.columns)
        for name, values in table.columns.items():
            back = record.tables[kind][name]
            if values.dtype.kind == "f":
                np.testing.assert_allclose(back, values, atol=0.5000001 * 10.0 ** -table.decimals.get(name, 0))
            else:
                assert (back == values).all() or (np.isnat(values) == np.isnat(back)).all()


def test_statements_are_the_summarys(record, fresh):
    _, summary = fresh
    assert list(record.statements) == list(summary["statements"])
    for key, said in record.statements.items():
        before = summary["statements"][key]
        assert (said["value"] is None) == (before["value"] is None), key
        if isinstance(said["value"], float) and said["uncertainty"]:
            # A table's decimals are those that the sensor resolves, so rounding moves nothing that matters.
            assert abs(said["value"] - before["value"]) <= 0.5 * said["uncertainty"], key


def test_pandas_and_structured_arrays_have_the_same_columns(record):
    frame = record.to_pandas("air")
    assert isinstance(frame, pandas.DataFrame)
    assert list(frame.columns) == list(record.tables["air"])
    made = record.to_structured("air")
    assert made.dtype.names == tuple(frame.columns)
    np.testing.assert_array_equal(made["temperature_degC"], frame["temperature_degC"])
    with pytest.raises(KeyError):
        record.to_pandas("weather")


def test_loading_changes_nothing_in_the_folder(record):
    before = {path.name: path.read_bytes() for path in record.folder.iterdir()}
    load_flight(record.folder)
    assert {path.name: path.read_bytes() for path in record.folder.iterdir()} == before


def test_a_wrong_folder_is_told_in_one_line(folder, tmp_path):
    with pytest.raises(LoftbookError, match="is no folder; give one that loftbook recover made"):
        load_flight(tmp_path / "nowhere")
    (tmp_path / "empty").mkdir()
    with pytest.raises(LoftbookError, match="has no summary.json"):
        load_flight(tmp_path / "empty")
    (folder / "summary.json").write_text("{}")
    with pytest.raises(LoftbookError, match="is of another version of Loftbook"):
        load_flight(folder)
    (folder / "summary.json").write_text("not json")
    with pytest.raises(LoftbookError, match="summary.json: is not JSON"):
        load_flight(folder)


@pytest.mark.parametrize(
    "spoil, said",
    [
        (lambda text: text.replace("boot,", "boots,", 1), "air.csv, line 1: column boot is missing"),
        (lambda text: text.replace("\n", "\n1,2\n", 1), "air.csv, line 2: has 2 cells, the heading"),
        (lambda text: text.replace("utc,", "tick_ms,", 1), "air.csv, line 1: "),
        (lambda text: text.replace(",1,", ",one,", 1), "air.csv: column boot: "),
    ],
)
def test_a_spoilt_table_is_told_in_one_line(folder, spoil, said):
    path = folder / "air.csv"
    path.write_text(spoil(path.read_text("utf-8")), "utf-8")
    with pytest.raises(LoftbookError) as caught:
        load_flight(folder)
    assert said in str(caught.value) and "\n" not in str(caught.value)


def test_several_flights_in_a_folder_are_named(folder, tmp_path):
    both = tmp_path / "both"
    both.mkdir()
    folder.rename(both / "flight-1a2b3c4d")
    with pytest.raises(LoftbookError, match="holds 1 flights; give one of them: flight-1a2b3c4d"):
        load_flight(both)


def test_the_ledgers_losses_are_handed_on(folder):
    ledger = json.loads((folder / "ledger.json").read_text("utf-8"))
    loss = {
        "flight": load_flight(folder).flight, "boot": 1, "envelope": "block", "first_number": 4, "last_number": 5,
        "tick_before_ms": 6000, "tick_after_ms": 9000, "reason": "damaged",
    }  # fmt: skip
    ledger["losses"] = [loss, {**loss, "flight": "another"}]
    (folder / "ledger.json").write_text(json.dumps(ledger), "utf-8")
    assert load_flight(folder).case.log.losses == [loss]
