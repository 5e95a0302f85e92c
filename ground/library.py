"""A recovered flight as an object, for notebooks and for the commands that explain it."""

import json
from dataclasses import dataclass
from pathlib import Path

from ground.decode.corrections import corrected
from ground.decode.read_tables import read_table
from ground.decode.tables import Flight
from ground.errors import LoftbookError
from ground.statements.case import Case, build_case
from ground.statements.catalogue import all_statements
from ground.statements.log import BootFacts, LogFacts

NO_TABLES = ("unproven-",)  # files of rows that nothing proves


@dataclass
class RecordedFlight:
    """A flight that `loftbook recover` put into a folder.

    folder: Path it was read from. flight: its identity, 8 hexadecimal digits. payload: its name.
    tables: dict kind -> dict column -> array (n,): "utc" is datetime64[ms], numbers are floats with NaN for missing, text is str; a column's name ends
    in its unit. statements: dict id -> statement, see ground.statements.statement. notes: what a reader should
    know, a line each. ledger: what every byte of the source held, or None. case: for those who want to go on
    from the heights, phases and moments that were found.
    """

    folder: Path
    flight: str
    payload: str
    tables: dict
    statements: dict
    notes: list
    ledger: dict | None
    case: Case

    def to_pandas(self, kind):
        """Give a table as a pandas.DataFrame. Raises ImportError without pandas, KeyError for an unknown kind."""
        import pandas

        return pandas.DataFrame(self.tables[kind])

    def to_structured(self, kind):
        """Give a table as a numpy structured array (n,); text has the type object."""
        import numpy as np

        columns = self.tables[kind]
        made = np.empty(len(columns["tick_ms"]), [(name, values.dtype) for name, values in columns.items()])
        for name, values in columns.items():
            made[name] = values
        return made

    def __repr__(self):
        rows = ", ".join(f"{len(columns['tick_ms'])} {kind}" for kind, columns in self.tables.items())
        return f"<flight {self.flight} of {self.payload or 'an unnamed payload'}: {rows}>"


def load_flight(folder, mission=None, trackers=()) -> RecordedFlight:
    """Load a recovered flight.

    folder: str or Path of a folder that `loftbook recover` made, with one flight in it.
    mission: str, Path (a mission.toml) or Mission; its masses and corrections sharpen some statements.
    trackers: paths of CSV or GPX files that other position sources, such as a commercial tracker, exported.
    Raises LoftbookError, one line, if a file cannot be used.
    """
    folder = Path(folder)
    summary = _json(folder / "summary.json", folder)
    try:
        log = LogFacts(
            summary["flight"], summary["payload"], [BootFacts(**boot) for boot in summary["boots"]], summary["records"]
        )
        sensors = next((boot.sensors for boot in log.boots if boot.sensors), {})
        sensors = {role: (chip, tuple(words)) for role, (chip, *words) in sensors.items()}
        notes = list(summary["notes"])
    except (KeyError, TypeError, ValueError):
        raise LoftbookError(
            f"{folder / 'summary.json'}: is of another version of Loftbook; recover the flight again"
        ) from None
    ledger = None
    for place in (folder, folder.parent):  # of several flights the ledger stands above
        if (place / "ledger.json").is_file():
            ledger = _json(place / "ledger.json", folder)
            break
    if ledger:
        try:
            log.losses = [loss for loss in ledger.get("losses", []) if loss.get("flight") == log.flight]
        except (AttributeError, TypeError):
            raise LoftbookError(
                f"{place / 'ledger.json'}: is no ledger of Loftbook; recover the flight again into a new folder"
            ) from None
    # What is no regular file, such as a link to a device, may never end.
    paths = sorted(p for p in folder.glob("*.csv") if p.is_file() and not p.name.startswith(NO_TABLES))
    tables = {path.stem: read_table(path) for path in paths}
    mission = _mission(mission)
    if mission is not None:
        tables, made = corrected(tables, mission.corrections)
        notes += made
    clocks = {boot.boot: None if boot.first_utc is None else boot for boot in log.boots}
    flight = Flight(log.flight, log.payload, [], tables, clocks, sensors)
    case = build_case(flight, log, mission, _tracks(trackers))
    case.notes = tuple(notes)  # those of the recovery, which has seen more than the tables
    return RecordedFlight(
        folder, log.flight, log.payload, {kind: table.columns for kind, table in tables.items()}, all_statements(case),
        notes, ledger, case,
    )  # fmt: skip


def _json(path, folder):
    if not folder.is_dir():
        raise LoftbookError(f"{folder}: is no folder; give one that loftbook recover made")
    if not path.is_file():
        flights = sorted(item.name for item in folder.glob("flight-*") if item.is_dir())
        if flights:
            raise LoftbookError(f"{folder}: holds {len(flights)} flights; give one of them: {', '.join(flights)}")
        raise LoftbookError(f"{folder}: has no {path.name}; give a folder that loftbook recover made")
    try:
        return json.loads(path.read_text("utf-8"))
    except (ValueError, RecursionError):
        raise LoftbookError(f"{path}: is not JSON; recover the flight again into a new folder") from None


def _mission(mission):
    if mission is None or not isinstance(mission, (str, Path)):
        return mission
    from ground.mission import MissionError, load_mission

    try:
        return load_mission(mission)
    except MissionError as error:
        raise LoftbookError(str(error)) from None


def _tracks(paths):
    if not paths:
        return ()
    from ground.tracks import read_track

    return tuple(read_track(path) for path in paths)
