from built_images import (
    FLIGHT, OTHER_FLIGHT, Writer, losses, recover_bytes, recovered_keys, states, written_log,
)
from foreign_kinds import AnyRecord, newer_lines, proven

from protocol.tick import TICK_PERIOD


def test_stale_blocks_of_an_earlier_flight_stay_apart(tmp_path):
    old = written_log(flight=OTHER_FLIGHT, boot=3, rounds=40)
    new = written_log(flight=FLIGHT, boot=1, rounds=15)
    # The new flight was written over the beginning of the old one's file.
    overwritten = len(new.envelopes)
    image = b"".join(new.envelopes + old.envelopes[overwritten:])
    recovered = recover_bytes(tmp_path, image + bytes(1024))
    first, second = recovered.boots
    assert (first.flight, second.flight) == (FLIGHT.hex(), OTHER_FLIGHT.hex())
    assert recovered_keys(first, FLIGHT) == new.keys()
    assert recovered_keys(second, OTHER_FLIGHT) == old.keys(but=range(overwritten))
    assert losses(recovered) == [(3, 0, overwritten - 1, "not found")]
    assert [state for state, _ in states(recovered)] == ["block", "block", "unwritten_zeros"]


def test_three_boots_of_a_flight_are_three_logs(tmp_path):
    boots = [written_log(boot=boot, rounds=10) for boot in (1, 2, 3)]
    recovered = recover_bytes(tmp_path, b"".join(b for log in boots for b in log.envelopes))
    assert [log.boot for log in recovered.boots] == [1, 2, 3]
    for log, written in zip(recovered.boots, boots, strict=True):
        assert recovered_keys(log, FLIGHT) == written.keys()
        assert log.manifest.boot == log.boot and not log.manifest_borrowed
    assert not recovered.ledger.has_losses


def test_flights_come_in_the_order_of_the_card_boots_in_their_own(tmp_path):
    logs = [written_log(flight=f, boot=b, rounds=3) for f, b in
            ((OTHER_FLIGHT, 2), (FLIGHT, 2), (FLIGHT, 1), (OTHER_FLIGHT, 1))]
    recovered = recover_bytes(tmp_path, b"".join(b for log in logs for b in log.envelopes))
    expected = [(OTHER_FLIGHT, 1), (OTHER_FLIGHT, 2), (FLIGHT, 1), (FLIGHT, 2)]
    assert [(log.flight, log.boot) for log in recovered.boots] == [(f.hex(), b) for f, b in expected]


def test_a_second_copy_of_blocks_counts_once(tmp_path):
    log = written_log(rounds=20)
    recovered = recover_bytes(tmp_path, b"".join(log.envelopes + log.envelopes[3:9]))
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys()
    assert recovered.ledger.ranges[-1].detail["note"] == "duplicate of a block found before"
    assert "6 whole blocks: duplicate of a block found before" in recovered.ledger.notes


def test_two_different_blocks_of_one_number_are_a_conflict(tmp_path):
    log = written_log(rounds=20)
    other = Writer(number=5)
    other.add("health", 123)
    other.close()
    recovered = recover_bytes(tmp_path, b"".join(log.envelopes + other.envelopes))
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys()
    assert any("1 whole blocks: another block of this number" in note for note in recovered.ledger.notes)


def test_the_clock_goes_on_where_the_tick_begins_anew(tmp_path):
    log = written_log(rounds=40, start_ms=TICK_PERIOD - 5000)
    recovered = recover_bytes(tmp_path, b"".join(log.envelopes))
    keys = recovered_keys(recovered.boots[0], FLIGHT)
    assert keys == log.keys()
    assert max(tick for _, tick in keys) > TICK_PERIOD


def test_records_slightly_out_of_order_are_sorted_and_kept(tmp_path):
    writer = Writer().add_manifest()
    for i in range(200):
        writer.add("motion", 1000 + 20 * i)
        if i % 10 == 9:
            writer.add("fix", 1000 + 20 * i - 150)  # the time of its first character
    writer.close()
    recovered = recover_bytes(tmp_path, b"".join(writer.envelopes))
    assert recovered_keys(recovered.boots[0], FLIGHT) == writer.keys()


def test_a_boot_without_a_manifest_borrows_that_of_its_flight(tmp_path):
    first = written_log(boot=1, rounds=5)
    second = Writer(boot=2).add_rounds(5)
    second.close()
    recovered = recover_bytes(tmp_path, b"".join(first.envelopes + second.envelopes))
    assert [log.manifest_borrowed for log in recovered.boots] == [False, True]
    assert recovered.boots[1].manifest.boot == 1
    note = f"flight {FLIGHT.hex()} boot 2: no whole manifest found; that of boot 1 is used"
    assert note in recovered.ledger.notes


def test_a_boot_does_not_borrow_from_another_flight(tmp_path):
    first = written_log(flight=OTHER_FLIGHT, rounds=5)
    second = Writer(flight=FLIGHT).add_rounds(5)
    second.close()
    recovered = recover_bytes(tmp_path, b"".join(first.envelopes + second.envelopes))
    assert recovered.boots[1].manifest is None
    assert recovered_keys(recovered.boots[1], FLIGHT) == second.keys()


def test_packets_that_two_flights_could_have_sent_keep_their_unknown_name(tmp_path):
    flights = [FLIGHT, FLIGHT[:1] + OTHER_FLIGHT[1:]]
    logs = [written_log(flight=flight, rounds=3) for flight in flights]
    sent = Writer(packets=True, boot=9).add_rounds(3)
    recovered = recover_bytes(tmp_path, b"".join(sent.close() + logs[0].envelopes + logs[1].envelopes))
    assert [log.flight for log in recovered.boots] == ["unknown-5a", flights[0].hex(), flights[1].hex()]


def test_one_boot_is_read_by_one_manifest(tmp_path):
    log = written_log(rounds=5)
    sent = Writer(packets=True).add_manifest(proven(newer_lines()))
    sent.close()
    sent.add("motion", 99)
    sent._builder.add(AnyRecord(200, bytes(5)), 99)
    recovered = recover_bytes(tmp_path, b"".join(log.envelopes + sent.close()))
    [boot] = recovered.boots
    assert boot.manifest.text.encode() == log.text
    assert recovered_keys(boot, FLIGHT) == log.keys() + sent.keys()


def test_a_log_and_a_capture_of_one_boot_complete_each_other(tmp_path):
    log = written_log(rounds=20)
    sent = Writer(packets=True)
    for kind, tick_ms in list(log.keys())[::3]:
        sent.add(kind, tick_ms)
    sent.close()
    blocks = log.envelopes[:4] + log.envelopes[6:]
    recovered = recover_bytes(tmp_path, b"".join(sent.envelopes) + b"".join(blocks))
    [boot] = recovered.boots
    assert set(recovered_keys(boot, FLIGHT)) == set(log.keys(but={4, 5})) | set(sent.keys())
    assert max(recovered_keys(boot, FLIGHT).values()) == 1
    assert losses(recovered) == [(1, 4, 5, "not found")]
    assert any("are taken for flight " + FLIGHT.hex() in note for note in recovered.ledger.notes)
