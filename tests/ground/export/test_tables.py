"""Tables, statements and scientific files, by readers that are not ours."""

import csv
import io
import json
import shutil

import netCDF4
import numpy as np
import pyarrow.parquet
import pytest
import xarray
from compliance_checker.runner import CheckSuite

from ground.errors import LoftbookError
from ground.export import export_flight
from ground.export.dictionary import UNKNOWN, dictionary_text, unit_of
from ground.export.sounding import sounding_levels, sounding_text
from ground.physics.atmosphere import standard_pressure_pa
from onboard.simulator.world.sounding import read_sounding


@pytest.fixture(scope="module")
def folder(record, tmp_path_factory):
    place = tmp_path_factory.mktemp("export") / "files"
    written, left_out = export_flight(record, place)
    assert left_out == []
    assert sorted(written) == sorted(str(path.relative_to(place)) for path in place.rglob("*") if path.is_file())
    return place


def test_the_dictionary_says_what_every_column_means(record):
    rows = list(csv.DictReader(io.StringIO(dictionary_text(record.case.flight.tables))))
    assert {(row["table"], row["column"]) for row in rows} == {
        (kind, column) for kind, columns in record.tables.items() for column in columns
    }
    assert [row["column"] for row in rows if row["meaning"] == UNKNOWN] == []
    # A unit is in the name and in its own cell: they must be one, written with letters only.
    for row in rows:
        if row["unit"]:
            letters = row["unit"].replace("/", "_").replace("%", "percent").replace("count", "counts")
            assert row["column"].endswith(letters)


def test_units_are_those_of_the_names():
    assert [unit_of(name) for name in ("height_m", "tick_ms", "rate_x_deg_s", "message")] == ["m", "ms", "deg/s", ""]


def test_parquet_keeps_values_units_and_what_is_missing(record, folder):
    for kind, columns in record.tables.items():
        read = pyarrow.parquet.read_table(folder / "tables" / f"{kind}.parquet")
        assert read.column_names == list(columns)
        for name, values in columns.items():
            field = read.schema.field(name)
            assert field.metadata[b"unit"].decode() == unit_of(name)
            back = read[name].to_pandas().to_numpy()
            if values.dtype.kind == "f":
                assert read[name].null_count == np.isnan(values).sum()
                np.testing.assert_array_equal(back, values)
            elif values.dtype.kind == "M":
                assert str(field.type) == "timestamp[ms, tz=UTC]"
                assert read[name].cast("int64").to_pylist() == values.astype(np.int64).tolist()
            else:
                assert back.tolist() == values.tolist()


def test_statements_come_whole(record, folder):
    read = json.loads((folder / "statements.json").read_text("utf-8"))
    assert read["statements"] == json.loads(json.dumps(record.statements))
    assert read["statements"]["burst"]["unit"] == "m"


def test_the_tables_of_the_export_are_those_of_the_recovery(record, folder):
    for kind, columns in record.tables.items():
        with open(folder / "tables" / f"{kind}.csv", encoding="utf-8", newline="") as file:
            assert sum(1 for _ in csv.reader(file)) == len(columns["tick_ms"]) + 1


def test_the_sounding_is_the_air_of_the_flight(record, folder):
    levels = sounding_levels(record)
    assert (np.diff(levels["geopotential_height_m"]) > 0).all()
    with open(folder / "sounding.csv", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(levels["height_m"]) > 100
    assert sounding_text(levels).count("\n") == len(rows) + 1
    # The made flight's air is the standard atmosphere, 6 K warmer: so hydrostatic pressure falls a little more
    # slowly than ISO 2533 says, by less than the warmth in its height of scale.
    pressure = np.array([float(row["pressure_hPa"]) for row in rows])
    height = np.array([float(row["geopotential_height_m"]) for row in rows])
    standard = standard_pressure_pa(height) / 100.0
    assert (pressure > standard * 0.99).all() and (pressure < standard * 1.08).all()
    speeds = np.array([float(row["wind_speed_m_s"] or "nan") for row in rows])
    assert np.isfinite(speeds).mean() > 0.8


def test_the_simulator_can_fly_through_the_sounding_again(record, folder):
    read = read_sounding(folder / "sounding.csv")
    assert len(read.pressure_pa) == len(sounding_levels(record)["height_m"])
    known = np.isfinite(read.temperature_k) & np.isfinite(read.wind_speed_m_s)
    assert known.mean() > 0.8 and (np.diff(read.geopotential_height_m) > 0).all()


@pytest.fixture(scope="module")
def cf_check():
    """What the IOOS compliance checker, an independent check of CF 1.8 with the standard name table that it
    carries, finds wrong with a file: list of (rule, messages)."""
    CheckSuite.load_all_available_checkers()

    def check(path):
        suite = CheckSuite()
        groups, errors = suite.run_all(suite.load_dataset(str(path)), ["cf:1.8"])["cf:1.8"]
        assert errors == {}
        return [(g.name, g.msgs) for g in groups if isinstance(g.value, tuple) and g.value[0] < g.value[1]]

    return check


@pytest.mark.parametrize("name", ["trajectory.nc", "profile.nc"])
def test_netcdf_follows_the_cf_conventions(folder, name, cf_check):
    assert cf_check(folder / name) == []


def test_the_check_of_the_conventions_does_find_what_is_wrong(folder, tmp_path, cf_check):
    spoilt = tmp_path / "spoilt.nc"
    shutil.copy(folder / "profile.nc", spoilt)
    with netCDF4.Dataset(spoilt, "a") as file:
        file["air_temperature"].standard_name = "air_temprature"
        file["air_pressure"].units = "degC"
    said = str(cf_check(spoilt))
    assert "air_temprature" in said and "air_pressure" in said


def test_netcdf_says_the_same_as_the_tables(record, folder):
    with xarray.open_dataset(folder / "trajectory.nc") as read:
        assert read.attrs["featureType"] == "trajectory"
        assert float(read.altitude.max()) == pytest.approx(record.statements["greatest_height"]["value"], abs=25)
        first = read.time.values[0].astype("datetime64[ms]")
        assert abs(first - record.tables["fix"]["utc"][0]) < np.timedelta64(2000, "ms")
    with xarray.open_dataset(folder / "profile.nc") as read:
        assert float(read.air_temperature.min()) == pytest.approx(record.statements["coldest_air"]["value"], abs=1.5)


def test_what_cannot_be_written_is_said(blind_record, tmp_path):
    written, left_out = export_flight(blind_record, tmp_path / "files")
    assert not any(name.startswith("flight.") for name in written)
    assert [line for line in left_out if line.startswith("gpx: the flight has no fix")]


def test_a_wrong_order_leaves_nothing(record, tmp_path):
    with pytest.raises(LoftbookError, match="no format 'shapefile'; choose of csv, gpx"):
        export_flight(record, tmp_path / "files", ["shapefile"])
    (tmp_path / "there").mkdir()
    with pytest.raises(LoftbookError, match="exists already"):
        export_flight(record, tmp_path / "there")
    assert [path.name for path in tmp_path.iterdir()] == ["there"]
