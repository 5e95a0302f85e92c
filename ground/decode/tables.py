"""One flight's records as tables of SI quantities with time, one table a kind."""

from dataclasses import dataclass, field

import numpy as np

from ground.decode.clock import DAY_MS, fit_clock
from ground.decode.columns import Column, column_name, field_numbers, generic_columns
from ground.decode.sensors import convert
from ground.decode.texts import event_columns, message_column, phase_column
from ground.recover.evidence import EVIDENCE_WORDS

TIME_COLUMNS = ("utc", "boot", "tick_ms")
EVIDENCE_COLUMN = "evidence"  # of each row: a word of EVIDENCE_WORDS
# The field is read beside its kind, the column alone.
_RENAMED = {("fix", "speed"): "ground_speed", ("beacon", "phase"): "phase_number"}


@dataclass
class Table:
    """columns: dict name -> array (n,), rows in order of boot, then time. "utc" is datetime64[ms] (NaT
    where unknown), "boot" and "tick_ms" (since boot) are int64, other numbers are floats (NaN = missing),
    text is str ('' = missing); "evidence" is a word. decimals: dict name -> digits after the point.
    """

    kind: str
    columns: dict
    decimals: dict

    def __len__(self):
        return len(self.columns["tick_ms"])


@dataclass
class Flight:
    flight: str  # 8 hexadecimal digits, or what stands for them if no manifest was found
    payload: str  # '' if no manifest was found
    boots: list  # BootLog, in order
    tables: dict  # kind name -> Table
    clocks: dict  # boot -> Clock, or None if it had no fix
    sensors: dict  # role -> (chip, words), of the first boot with a manifest
    notes: list = field(default_factory=list)  # what a reader of the tables must know, one line each


def group_boots(boots):
    """Sort boots into flights: dict flight -> list of BootLog, in the order first seen."""
    flights = {}
    for boot in boots:
        flights.setdefault(boot.flight, []).append(boot)
    return flights


def decode_flight(boots) -> Flight:
    """Convert the records of one flight.

    boots: list of BootLog, all of one flight, in order of boot. Raises ValueError if they are not.
    Kinds and fields that this program does not know become columns as the log's own manifest
    describes them; what a reader must know about a boot stands in the notes.
    """
    if len({boot.flight for boot in boots}) != 1:
        raise ValueError("decode_flight wants the boots of exactly one flight; group_boots sorts them")
    notes, parts = [], {}
    clocks = {boot.boot: _clock(boot) for boot in boots}
    for boot in boots:
        sensors = _sensors(boot, notes)
        _note_clock(boot, clocks[boot.boot], notes)
        for kind, records in boot.records.items():
            if kind == "manifest":
                continue
            columns, kind_notes = _columns(kind, records, sensors)
            notes += [f"boot {boot.boot}: {note}" for note in kind_notes]
            parts.setdefault(kind, []).append(_framed(boot.boot, records, columns, clocks[boot.boot]))
    tables = {kind: _join(kind, pieces) for kind, pieces in parts.items()}
    first = next((boot.manifest for boot in boots if boot.manifest), None)
    return Flight(
        boots[0].flight,
        first.payload if first else "",
        list(boots),
        tables,
        clocks,
        dict(first.sensors) if first else {},
        notes,
    )


def decode_unproven(flight, logs):
    """Convert records that nothing proves, by what the proven ones say of sensors and clocks.

    flight: Flight; logs: list of UnprovenLog. Returns dict kind name -> Table, of the logs of this flight;
    the column "why" says what is wrong with the block of each record.
    """
    boots = {boot.boot: boot for boot in flight.boots}
    parts = {}
    for log in logs:
        if log.flight != flight.flight or log.boot not in boots:
            continue
        sensors = _sensors(boots[log.boot], [])
        for kind, records in log.records.items():
            columns, _ = _columns(kind, records, sensors)
            framed = _framed(log.boot, records, columns, flight.clocks[log.boot])
            parts.setdefault(kind, []).append([*framed, Column("why", log.why[kind])])
    return {kind: _join(kind, pieces) for kind, pieces in parts.items()}


def _framed(boot, records, columns, clock):
    """Columns of a kind between those of the time and that of the evidence."""
    words = np.array(EVIDENCE_WORDS, object)[records.evidence]
    return [*_time_columns(boot, records.tick_ms, clock), *columns, Column(EVIDENCE_COLUMN, words)]


def _sensors(boot, notes):
    if boot.manifest is None:
        notes.append(
            f"boot {boot.boot}: no manifest was found; this program's own table of fields was used, "
            f"and the sensors' counts are left as they are"
        )
        return {}
    if boot.manifest_borrowed:
        notes.append(
            f"boot {boot.boot}: its manifest was not found; that of boot {boot.manifest.boot} of the "
            f"same flight was used, since a flight is one payload"
        )
    late = _late_sensors(boot)
    notes += [f"boot {boot.boot}: the {role} answered after the boot; its words are from a text message" for role in late]
    return {**boot.manifest.sensors, **late}


def _late_sensors(boot):
    """Sensor lines that the board logged as text messages, since they came too late for the manifest."""
    records = boot.records.get("text")
    if records is None or not {"part", "parts", "characters"} <= set(records.values.dtype.names):
        return {}
    messages = message_column(*(records.values[name] for name in ("part", "parts", "characters"))).values
    lines = [message.split() for message in messages if message.startswith("sensor ")]
    return {words[1]: (words[2], tuple(words[3:])) for words in lines if len(words) > 2}


def _clock(boot):
    """Fit the boot's clock to its fixes, None if there are none to fit it to."""
    records = boot.records.get("fix")
    numbers = {} if records is None else _numbers(records)
    if not {"quality", "day", "time_of_day"} <= set(numbers):
        return None
    utc_ms = _gnss_utc_ms(numbers)
    usable = (numbers["quality"] > 0) & np.isfinite(utc_ms)
    return fit_clock(records.tick_ms[usable].astype(float), utc_ms[usable])


def _gnss_utc_ms(numbers):
    return numbers["day"] * DAY_MS + np.rint(numbers["time_of_day"] * 1000.0)


def _numbers(records):
    return {
        f.name: field_numbers(f, records.values[f.name])
        for f in records.layout.fields
        if f.missing is not None
    }


def _note_clock(boot, clock, notes):
    if clock is None:
        notes.append(f"boot {boot.boot}: no fix to set its clock by, so its records have no UTC")
        return
    if clock.weeks_wrong:
        notes.append(
            f"boot {boot.boot}: {clock.weeks_wrong} fixes had a date wrong by a multiple of 1024 weeks"
        )
    others = clock.fixes_rejected - clock.weeks_wrong
    if others > 0:
        notes.append(
            f"boot {boot.boot}: {others} fixes had a time that stood still or disagreed with the others"
        )
    if clock.before_the_format():
        notes.append(
            f"boot {boot.boot}: its dates lie before this record format existed, so the GNSS receiver's "
            f"date was wrong; a receiver that missed a rollover is 1024 weeks early; UTC is left as it said"
        )


def _time_columns(boot, tick_ms, clock):
    utc = clock.utc(tick_ms) if clock else np.full(len(tick_ms), "NaT", "datetime64[ms]")
    return [
        Column("utc", utc),
        Column("boot", np.full(len(tick_ms), boot, np.int64), 0),
        Column("tick_ms", np.asarray(tick_ms, np.int64), 0),
    ]


def _columns(kind, records, sensors):
    """The columns of one kind in one boot, and notes. Known sensors first, then what is left."""
    numbers = _numbers(records)
    columns, used, notes = convert(kind, numbers, sensors)
    has_time = kind == "fix" and {"day", "time_of_day"} <= set(numbers)
    if has_time:
        used |= {"day", "time_of_day"}
    columns = columns + _rename(kind, records, generic_columns(records, used))
    if has_time:
        columns.append(Column("gnss_utc", _datetime(_gnss_utc_ms(numbers))))
    if kind == "event" and {"code", "subject"} <= set(numbers):
        columns = event_columns(numbers["code"], numbers["subject"], sensors) + columns
    if kind == "beacon" and "phase" in numbers:
        columns = [phase_column(numbers["phase"])] + columns
    texts = {f.name for f in records.layout.fields} - set(numbers)
    if kind == "text" and {"part", "parts"} <= set(numbers) and "characters" in texts:
        values = records.values
        columns = [message_column(values["part"], values["parts"], values["characters"])] + columns
    return _unique(kind, columns), notes


def _rename(kind, records, columns):
    for f in records.layout.fields:
        for column in columns:
            if (kind, f.name) in _RENAMED and column.name == column_name(f.name, f.unit):
                column.name = column_name(_RENAMED[kind, f.name], f.unit)
    return columns


def _datetime(utc_ms):
    known = np.isfinite(utc_ms)
    utc = np.where(known, utc_ms, 0).astype(np.int64).astype("datetime64[ms]")
    utc[~known] = "NaT"
    return utc


def _unique(kind, columns):
    """Keep headings apart from the time columns and from each other."""
    taken = {*TIME_COLUMNS, "seconds_since_launch", EVIDENCE_COLUMN, "why"}
    for column in columns:
        if column.name in taken:
            column.name = f"{kind}_{column.name}"
        stem, number = column.name, 2
        while column.name in taken:
            column.name, number = f"{stem}_{number}", number + 1
        taken.add(column.name)
    return columns


def _join(kind, pieces):
    """One table from the pieces of all boots; a column that a boot lacks is missing there."""
    names = {}
    for columns in pieces:
        for column in columns:
            names.setdefault(column.name, column)
    joined = {
        name: np.concatenate([_piece(columns, example) for columns in pieces])
        for name, example in names.items()
    }
    decimals = {name: column.decimals for name, column in names.items() if column.decimals is not None}
    return Table(kind, joined, decimals)


def _piece(columns, example):
    for column in columns:
        if column.name == example.name and column.values.dtype.kind == example.values.dtype.kind:
            return column.values
    rows = len(columns[0].values)
    fill = {"M": "NaT", "O": ""}.get(example.values.dtype.kind, np.nan)
    return np.full(rows, fill, example.values.dtype)
