"""The folder of an export: it appears whole or not at all."""

import importlib.util
import json

from ground.errors import LoftbookError
from ground.export.dictionary import dictionary_text
from ground.export.geojson import geojson_text
from ground.export.gpx import gpx_text
from ground.export.kml import kml_text
from ground.export.netcdf import write_profile, write_trajectory
from ground.export.parquet import write_parquet
from ground.export.sounding import sounding_levels, sounding_text
from ground.export.track import flight_track
from ground.new_folder import new_folder
from ground.report.tables import write_table

# Format -> (what it is, the package that it needs beyond Loftbook's own, or None)
FORMATS = {
    "csv": ("the tables and their data dictionary", None),
    "gpx": ("track and waypoints, GPX 1.1", None),
    "kml": ("track at its height and placemarks, KML 2.2", None),
    "geojson": ("track and places, RFC 7946", None),
    "sounding": ("the air by height, a line a level, as soundings are written", None),
    "json": ("all statements with their evidence", None),
    "parquet": ("the tables with units, for data tools", "pyarrow"),
    "netcdf": ("trajectory and profile after the CF conventions", "netCDF4"),
}


def export_flight(record, folder, formats=None):
    """Write a flight in other formats.

    record: RecordedFlight. folder: Path of a folder that does not exist yet. formats: names of FORMATS, all if
    not given. Returns (names of the files written, lines about what was left out and why).
    Raises LoftbookError if a format is not known, or was asked for by name and its package is not there, or
    the folder cannot be written.
    """
    wanted = list(dict.fromkeys(formats or FORMATS))
    for name in wanted:
        if name not in FORMATS:
            raise LoftbookError(f"there is no format {name!r}; choose of {', '.join(FORMATS)}")
        if formats and _lacks(name):
            raise LoftbookError(f"{name} needs the package {FORMATS[name][1]}; pip install 'loftbook[science]'")
    left_out = [
        f"{name}: needs the package {FORMATS[name][1]} (pip install 'loftbook[science]')"
        for name in wanted if _lacks(name)
    ]  # fmt: skip
    written = []
    with new_folder(folder, record.folder) as making:
        for name in wanted:
            if not _lacks(name):
                files, reason = _WRITERS[name](record, making)
                written += files
                left_out += [f"{name}: {reason}"] if reason else []
        if not written:
            raise LoftbookError(f"{folder}: nothing to export; {'; '.join(left_out)}")
    return written, left_out


def _lacks(name):
    package = FORMATS[name][1]
    return package is not None and importlib.util.find_spec(package) is None


def _csv(record, folder):
    tables, launch = record.case.flight.tables, record.case.moments.launch if record.case.moments else None
    (folder / "tables").mkdir(exist_ok=True)
    for kind, table in tables.items():
        write_table(folder / "tables" / f"{kind}.csv", table, launch)
    (folder / "data-dictionary.csv").write_text(dictionary_text(tables), encoding="utf-8")
    return [*(f"tables/{kind}.csv" for kind in tables), "data-dictionary.csv"], None


def _parquet(record, folder):
    (folder / "tables").mkdir(exist_ok=True)
    for kind, table in record.case.flight.tables.items():
        write_parquet(folder / "tables" / f"{kind}.parquet", table)
    return [f"tables/{kind}.parquet" for kind in record.case.flight.tables], None


def _map(name, make):
    def write(record, folder):
        if len(flight_track(record.case)) == 0:
            return [], "the flight has no fix to draw"
        (folder / name).write_text(make(record), encoding="utf-8")
        return [name], None

    return write


def _sounding(record, folder):
    levels = sounding_levels(record)
    if levels is None:
        return [], "the flight has no climb with heights"
    (folder / "sounding.csv").write_text(sounding_text(levels), encoding="utf-8")
    return ["sounding.csv"], None


def _json(record, folder):
    content = {
        "flight": record.flight, "payload": record.payload, "statements": record.statements, "notes": record.notes,
    }  # fmt: skip
    text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False)
    (folder / "statements.json").write_text(text + "\n", encoding="utf-8")
    return ["statements.json"], None


def _netcdf(record, folder):
    files, reasons = [], []
    track = flight_track(record.case)
    if len(track) and record.case.timeline.origin_ms is not None:
        write_trajectory(folder / "trajectory.nc", record, track)
        files.append("trajectory.nc")
    else:
        reasons.append("no trajectory, since there is no fix with a time")
    levels = sounding_levels(record)
    if levels is None:
        reasons.append("no profile, since there is no climb with heights")
    else:
        write_profile(folder / "profile.nc", record, levels)
        files.append("profile.nc")
    return files, "; ".join(reasons) or None


_WRITERS = {
    "csv": _csv, "gpx": _map("flight.gpx", gpx_text), "kml": _map("flight.kml", kml_text),
    "geojson": _map("flight.geojson", geojson_text), "sounding": _sounding, "json": _json, "parquet": _parquet,
    "netcdf": _netcdf,
}  # fmt: skip
