"""Every value of the recovered tables is the one that the plain decoder reads from the card.

The plain decoder shares no code with the ground program. It knows nothing of parity either: rows that came
back by parity are compared with the card as it was before the damage.
"""

import csv
import importlib.util
import zlib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from protocol.table import EVENTS

DECODER = Path(__file__).resolve().parents[2] / "tools" / "plain_decoder.py"
spec = importlib.util.spec_from_file_location("plain_decoder", DECODER)
plain = importlib.util.module_from_spec(spec)
spec.loader.exec_module(plain)
plain.crc32 = zlib.crc32  # the decoder's own is proven by its tests, and slow

VALUES = ("fix", "power", "health", "event")  # kinds whose values are compared
TIMES = ("pressure", "air", "motion")  # kinds whose rows and ticks are compared

# Column -> field, where the name differs by more than the unit behind it.
RENAMED = {"ground_speed_m_s": "speed"}
COLUMNS = {
    "fix": (
        "latitude_deg", "longitude_deg", "height_m", "ground_speed_m_s", "course_deg", "vertical_speed_m_s",
        "satellites", "quality", "hdop",
    ),
    "health": (
        "queue_fill", "missed_samples", "write_time_last_s", "write_time_slowest_s", "card_errors",
        "free_heap_byte", "reset_cause",
    ),
    "event": ("code", "subject", "detail"),
}  # fmt: skip


def records_of(path):
    """What the plain decoder reads: ({kind: {(boot, tick): [values]}}, the manifest's {role: words})."""
    found, pieces = {}, []
    for _, what, header, records in plain.scan(path.read_bytes()):
        for kind, tick, values in records if what == "block" else ():
            if kind == "manifest":
                pieces.append(values)
            else:
                found.setdefault(kind, {}).setdefault((header["boot"], tick), []).append(values)
    _, lines = plain.read_manifest(plain.join_manifest(pieces))
    sensors = [rest.split() for word, rest in lines if word == "sensor"]
    return found, {role: words for role, *words in sensors}


@pytest.fixture(scope="module")
def damaged(demo):
    return records_of(demo[0] / "card.img")


@pytest.fixture(scope="module")
def before(demo):
    return records_of(demo[0] / "card-before.img")


def rows_of(demo, kind):
    with open(demo[0] / "recovered" / f"{kind}.csv", newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def key(row):
    return int(row["boot"]), int(row["tick_ms"])


def by_key(rows):
    """The rows of a table under boot and tick, in their order; events of one tick are two rows."""
    found = {}
    for row in rows:
        found.setdefault(key(row), []).append(row)
    return found


@pytest.mark.parametrize("kind", VALUES + TIMES)
def test_no_record_of_the_damaged_card_is_left_out_and_none_is_made_up(demo, damaged, before, kind):
    rows = by_key(rows_of(demo, kind))
    assert len(rows) > 3  # of the few events, two have the same time
    counts = {time: len(same) for time, same in rows.items()}
    for time, records in damaged[0][kind].items():
        assert counts[time] >= len(records)
    for time, count in counts.items():
        assert count <= len(before[0][kind][time])


def shown(value, text):
    """True if a cell shows this number to its own last digit, or is empty where there is none."""
    if value is None or text == "":
        return value is None and text == ""
    decimals = len(text.partition(".")[2])
    return abs(float(text) - value) <= 0.5000001 * 10.0**-decimals


def expected_power(values, sensors):
    """Source: RM-MPU-6000A, registers 65 and 66, for the temperature; the dividers are arithmetic."""
    expected = {}
    for role in ("battery", "rail"):
        chip, reference_mv, ratio_thousandths = sensors[role]
        assert chip == "adc_divider"
        counts = values[f"{role}_counts"]
        volt = None if counts is None else counts / 65535 * int(reference_mv) * int(ratio_thousandths) / 1e6
        expected[f"{role}_V"] = volt
    counts = values["board_temperature_counts"]
    assert sensors["board_temperature"] == ["mpu6050"]
    return expected | {"board_temperature_degC": None if counts is None else counts / 340 + 36.53}


def expected_cells(kind, values, sensors):
    if kind == "power":
        return expected_power(values, sensors)
    cells = {}
    for column in COLUMNS[kind]:
        names = [name for name in values if column == name or column.startswith(name + "_")]
        cells[column] = values[RENAMED[column] if column in RENAMED else max(names, key=len)]
    return cells


@pytest.mark.parametrize("kind", VALUES)
def test_every_value_is_that_of_the_card(demo, damaged, before, kind):
    wrong = []
    for time, rows in by_key(rows_of(demo, kind)).items():
        records, sensors = damaged[0][kind].get(time), damaged[1]
        if records is None or len(records) < len(rows):
            records, sensors = before[0][kind][time], before[1]
        for row, values in zip(rows, records, strict=True):
            cells = expected_cells(kind, values, sensors)
            wrong += [(time, name, row[name]) for name in cells if not shown(cells[name], row[name])]
    assert wrong == []


def test_a_fix_carries_the_receivers_own_time(demo, before):
    known = 0
    for row in rows_of(demo, "fix"):
        (values,) = before[0]["fix"][key(row)]
        if values["day"] is None or values["time_of_day"] is None:
            assert row["gnss_utc"] == ""
            continue
        known += 1
        told = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=values["day"], seconds=values["time_of_day"])
        assert datetime.fromisoformat(row["gnss_utc"]) == told
    assert known > 8000


def test_an_event_is_called_by_its_name(demo):
    rows = rows_of(demo, "event")
    assert [row["event"] for row in rows] == [dict(EVENTS)[int(row["code"])] for row in rows]
    assert [row["subject_name"] for row in rows if row["event"] == "phase changed"] == [
        "waiting", "climbing", "falling", "landed"
    ]


def test_no_column_of_numbers_is_left_uncompared(demo, damaged):
    elsewhere = {
        "utc", "seconds_since_launch", "boot", "tick_ms", "gnss_utc", "event", "subject_name", "evidence"
    }
    for kind in VALUES:
        values = next(iter(damaged[0][kind].values()))[0]
        compared = set(expected_cells(kind, values, damaged[1]))
        assert set(rows_of(demo, kind)[0]) - elsewhere == compared
