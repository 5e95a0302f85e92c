"""What can be read in damaged blocks is kept apart: never in the records, only in tables of its own."""

import csv
import json

import pytest
from built_images import FLIGHT, OTHER_FLIGHT, derived_values, recover_bytes, recovered_keys, written_log

from ground import cli
from ground.decode import decode_flight, decode_unproven
from ground.recover.evidence import UNPROVEN


@pytest.fixture(scope="module")
def log():
    return written_log(rounds=40)


def torn(log, kept, rest=b""):
    """The log with its last block torn, then what stood there before."""
    last = len(log.envelopes) - 1
    rest = (rest or bytes(512))[kept:512]
    return b"".join(log.envelopes[:last]) + log.envelopes[last][:kept] + rest + bytes(2048)


def unproven_keys(recovered):
    """[(kind, tick)] of unproven records of which every value is as written, and of the others."""
    right, wrong = [], []
    for item in recovered.unproven:
        for kind, records in item.records.items():
            assert (records.evidence == UNPROVEN).all() and len(item.why[kind]) == len(records.tick_ms)
            for tick_ms, values in zip(records.tick_ms.tolist(), records.values.tolist(), strict=True):
                is_right = list(values) == derived_values(FLIGHT, item.boot, kind, tick_ms)
                (right if is_right else wrong).append((kind, tick_ms))
    return right, wrong


@pytest.mark.parametrize("kept", [29, 60, 200, 400, 505])
def test_a_torn_block_gives_its_whole_records_apart_from_the_others(tmp_path, log, kept):
    recovered = recover_bytes(tmp_path, torn(log, kept))
    last = len(log.envelopes) - 1
    [boot] = recovered.boots
    assert recovered_keys(boot, FLIGHT) == log.keys(but={last})
    right, wrong = unproven_keys(recovered)
    assert set(right) <= set(log.contents[last])
    # Zeros end the reading, but for the record that was cut: its end is zeros.
    assert len(wrong) <= 1
    sizes = {"motion": 15, "pressure": 11, "air": 9, "fix": 30, "power": 9, "event": 9, "text": 29}
    room = kept - 29
    fitting = 0
    for kind, _ in log.contents[last]:
        room -= sizes[kind]
        fitting += room >= 0
    assert len(right) == fitting
    assert recovered.ledger.evidence["records"]["unproven"] == len(right) + len(wrong)
    assert recovered.ledger.has_losses


def test_what_another_flight_left_in_the_sector_ends_the_reading_or_shows_as_unproven_alone(tmp_path, log):
    stale = written_log(flight=OTHER_FLIGHT, rounds=40).envelopes[-3]
    recovered = recover_bytes(tmp_path, torn(log, 200, stale))
    [boot] = [boot for boot in recovered.boots if boot.flight == FLIGHT.hex()]
    assert recovered_keys(boot, FLIGHT) == log.keys(but={len(log.envelopes) - 1})
    right, _ = unproven_keys(recovered)
    assert set(right) <= set(log.contents[-1]) and right


def test_a_block_whose_identity_is_gone_gives_nothing(tmp_path, log):
    data = bytearray(b"".join(log.envelopes))
    for byte in (8, 9, 21, 300):
        data[512 * 6 + byte] ^= 0x41
    assert recover_bytes(tmp_path, bytes(data)).unproven == []


def test_a_block_that_came_back_gives_nothing_unproven(tmp_path, log):
    data = bytearray(b"".join(log.envelopes))
    data[512 * 6 + 100] ^= 0x40
    recovered = recover_bytes(tmp_path, bytes(data))
    assert recovered.unproven == [] and recovered.boots[0].envelopes_repaired == 1


def test_unproven_tables_have_the_same_columns_and_the_reason(tmp_path, log):
    recovered = recover_bytes(tmp_path, torn(log, 300))
    flight = decode_flight(recovered.boots)
    tables = decode_unproven(flight, recovered.unproven)
    assert set(tables) <= set(flight.tables)
    for kind, table in tables.items():
        assert list(table.columns) == [*flight.tables[kind].columns, "why"]
        assert set(table.columns["evidence"]) == {"unproven"}
        assert set(table.columns["why"]) == {"check sum wrong"}
    assert all(set(table.columns["evidence"]) == {"proven"} for table in flight.tables.values())


def test_the_command_writes_them_only_when_asked(tmp_path, log):
    (tmp_path / "card.img").write_bytes(torn(log, 300))
    for option, names in (([], set()), (["--unproven"], None)):
        out = tmp_path / f"out{len(option)}"
        with pytest.raises(SystemExit) as ended:
            cli.main(["recover", str(tmp_path / "card.img"), "-o", str(out), *option])
        assert ended.value.code == 4
        found = {path.name for path in out.glob("unproven-*.csv")}
        assert found == names if names is not None else "unproven-motion.csv" in found
        with open(out / "motion.csv", newline="", encoding="utf-8") as file:
            assert {row["evidence"] for row in csv.DictReader(file)} == {"proven"}
        ledger = json.loads((out / "ledger.json").read_text("utf-8"))
        assert ledger["evidence"]["records"]["unproven"] > 0
    with open(out / "unproven-motion.csv", newline="", encoding="utf-8") as file:
        told = {(row["evidence"], row["why"]) for row in csv.DictReader(file)}
    assert told == {("unproven", "check sum wrong")}
