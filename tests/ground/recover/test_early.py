"""Blocks are decoded while they are found or, where that cannot be, in a second reading, with one result."""

import numpy as np
import pytest
from built_images import FLIGHT, OTHER_FLIGHT, Writer, recover_bytes, recovered_keys, written_log
from parity_logs import Flight

from ground.recover import recover_source, recover_sources
from ground.recover.early import EarlyRecords
from ground.recover.source import WINDOW_SIZE
from protocol.tick import TICK_PERIOD


@pytest.fixture(scope="module")
def log():
    return written_log(rounds=60)


def second_reading(monkeypatch, *paths):
    """Recovered, with nothing gathered early."""
    with monkeypatch.context() as patch:
        patch.setattr(EarlyRecords, "gatherer_of", lambda *_: None)
        return recover_sources(paths)


def assert_same(first, second):
    assert [(b.flight, b.boot, b.unreadable_records) for b in first.boots] == [
        (b.flight, b.boot, b.unreadable_records) for b in second.boots
    ]
    for one, other in zip(first.boots, second.boots, strict=True):
        assert one.records.keys() == other.records.keys()
        for kind, records in one.records.items():
            assert np.array_equal(records.tick_ms, other.records[kind].tick_ms)
            assert records.values.tobytes() == other.records[kind].values.tobytes()
            assert np.array_equal(records.evidence, other.records[kind].evidence)
    assert first.ledger.to_json() == second.ledger.to_json()


def image_of(log, other):
    """A boot that crosses a window, a damaged block, noise of an odd length, and a log of another flight."""
    noise = np.random.default_rng(6).bytes(777)
    half = len(log.envelopes) // 2
    damaged = bytearray(b"".join(log.envelopes))
    damaged[512 * 3 + 99] ^= 8
    start = bytes(WINDOW_SIZE - 512 * half - 100)
    return start + damaged + noise + b"".join(other.envelopes) + bytes(WINDOW_SIZE) + other.envelopes[0]


def test_a_log_in_order_is_read_once(tmp_path, log, bytes_read):
    data = b"".join(log.envelopes) + bytes(5000)
    recovered = recover_bytes(tmp_path, data)
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys()
    assert bytes_read == [len(data)]


def test_a_log_out_of_order_is_read_again(tmp_path, log, bytes_read):
    data = b"".join(log.envelopes[::-1])
    recovered = recover_bytes(tmp_path, data)
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys()
    assert bytes_read == [2 * len(data)]


def test_both_readings_give_the_same_of_a_damaged_card(tmp_path, log, monkeypatch):
    other = written_log(rounds=30, flight=OTHER_FLIGHT, boot=2)
    path = tmp_path / "card.img"
    path.write_bytes(image_of(log, other))
    assert_same(recover_source(path), second_reading(monkeypatch, path))


def test_both_readings_give_the_same_when_the_clock_wraps(tmp_path, monkeypatch, bytes_read):
    log = written_log(rounds=900, start_ms=TICK_PERIOD - 20_000)
    path = tmp_path / "log.bin"
    half = 512 * (len(log.envelopes) // 2)
    data = b"".join(log.envelopes)
    path.write_bytes(data[:half] + bytes(WINDOW_SIZE) + data[half:])
    recovered = recover_source(path)
    assert bytes_read == [len(data) + WINDOW_SIZE]
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys()
    assert_same(recovered, second_reading(monkeypatch, path))


def test_records_of_one_tick_come_in_the_order_of_their_blocks(tmp_path, monkeypatch):
    # Only the numbers tell in which order these blocks were written: their ticks are all the same.
    writer = Writer().add_manifest().add_rounds(20, step_ms=0)
    path = tmp_path / "log.bin"
    path.write_bytes(b"".join(writer.close()[::-1]))
    assert_same(recover_source(path), second_reading(monkeypatch, path))


@pytest.mark.parametrize("step_ms", [20, 0])
def test_repaired_blocks_are_put_among_what_was_gathered(tmp_path, monkeypatch, bytes_read, step_ms):
    # At the beginning, next to each other, at the end; where all ticks are the same, only the order of the
    # blocks tells where their records belong.
    log = Writer().add_manifest().add_rounds(60, step_ms)
    data = bytearray(b"".join(log.close()))
    wrong = [0, 5, 6, 7, len(log.envelopes) - 2]
    for block in wrong:
        data[512 * block + 99] ^= 8
    path = tmp_path / "log.bin"
    path.write_bytes(data)
    recovered = recover_source(path)
    assert bytes_read == [len(data) + 512 * len(wrong)]
    assert recovered.boots[0].envelopes_repaired == len(wrong)
    whole = tmp_path / "whole.bin"
    whole.write_bytes(b"".join(log.envelopes))
    expected = recover_source(whole).boots[0].records
    for kind, records in recovered.boots[0].records.items():
        assert records.values.tobytes() == expected[kind].values.tobytes()
    assert_same(recovered, second_reading(monkeypatch, path))


def test_rebuilt_blocks_are_put_among_what_was_gathered(tmp_path, monkeypatch):
    flight = Flight(depth=4, rate=3).boot(60).boot(30)
    image = flight.image
    places = sorted(flight.blocks())
    for place in [places[0], *places[9:12], places[-12]]:
        image[512 * place:512 * place + 512] = bytes(512)
    path = tmp_path / "card.img"
    path.write_bytes(image)
    recovered = recover_source(path)
    assert [boot.envelopes_rebuilt for boot in recovered.boots] == [4, 1]
    assert_same(recovered, second_reading(monkeypatch, path))


def test_a_boot_in_two_sources_is_gathered_from_both(tmp_path, log, monkeypatch):
    half = len(log.envelopes) // 2
    paths = [tmp_path / "a.bin", tmp_path / "b.bin"]
    paths[0].write_bytes(b"".join(log.envelopes[half:]))
    paths[1].write_bytes(b"".join(log.envelopes[:half]))
    recovered = recover_sources(paths)
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys()
    assert_same(recovered, second_reading(monkeypatch, *paths))


def test_a_whole_second_copy_is_not_used_twice(tmp_path, log):
    recovered = recover_bytes(tmp_path, 2 * b"".join(log.envelopes))
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys()


def test_a_record_that_does_not_fit_ends_its_block_in_both_readings(tmp_path, monkeypatch):
    writer = Writer().add_manifest().add_rounds(5)
    builder = writer._builder
    # The kind of an event in the last byte that is used: its fields are not there.
    builder.buffer[builder.first + builder.used] = 8
    builder.used += 1
    writer.close()
    path = tmp_path / "log.bin"
    path.write_bytes(b"".join(writer.envelopes))
    recovered = recover_source(path)
    assert recovered.boots[0].unreadable_records == 1
    assert recovered_keys(recovered.boots[0], FLIGHT) == writer.keys()
    assert_same(recovered, second_reading(monkeypatch, path))
