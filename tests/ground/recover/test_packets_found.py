import random

import numpy as np
import pytest
from built_images import (
    FLIGHT, OTHER_FLIGHT, Writer, losses, recover_bytes, recovered_keys, states, written_log,
)
from foreign_kinds import AnyRecord, newer_lines, proven
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ground.layout import OWN_KINDS, PACKET_STRUCTURE, FieldLayout, KindLayout, crc16
from ground.recover import PacketFinder
from ground.recover.source import WINDOW_SIZE
from protocol.block import BLOCK_FIRST
from protocol.packet import PACKET_CHECKED_FROM, PACKET_RECORDS_MAX, PACKET_SYNC


@pytest.fixture(scope="module")
def sent():
    return written_log(rounds=25, packets=True)


def construct_packet(records, number=0, flight=FLIGHT, boot=1, tick=50):
    """A packet made from the declaration alone, without the board's builder."""
    fields = {
        "sync": PACKET_SYNC, "length": len(records), "flight": flight[0], "boot": boot & 255,
        "number": number, "tick": tick, "records": records, "crc": 0,
    }
    fields["crc"] = crc16(PACKET_STRUCTURE.build(fields)[PACKET_CHECKED_FROM:-2])
    return PACKET_STRUCTURE.build(fields)


def noisy(packets, seed, share=1.0):
    """Packets with noise of random length between them."""
    generator = random.Random(seed)
    data = b""
    for packet in packets:
        if generator.random() < share:
            data += generator.randbytes(generator.randrange(80))
        data += packet
    return data


def test_a_capture_with_noise_is_recovered_to_the_last_packet(tmp_path, sent):
    recovered = recover_bytes(tmp_path, noisy(sent.envelopes, seed=1))
    [boot] = recovered.boots
    assert (boot.flight, boot.boot, boot.manifest.payload) == (FLIGHT.hex(), 1, "Napraforgo-1")
    assert recovered_keys(boot, FLIGHT) == sent.keys()
    assert boot.envelopes_found == boot.envelopes_expected == len(sent.envelopes)
    assert recovered.ledger.bytes_by_state()["packet"] == sum(map(len, sent.envelopes))
    assert losses(recovered) == []


@pytest.mark.parametrize("size", [1, 2, 7, 100, 5000])
def test_pieces_of_any_size_give_the_same_packets(sent, size):
    data = noisy(sent.envelopes, seed=2)
    finder = PacketFinder()
    packets = []
    for start in range(0, len(data), size):
        packets += finder.feed(data[start:start + size])
    packets += finder.finish()
    assert [data[p.offset:p.offset + p.length] for p in packets] == sent.envelopes
    assert [p.number for p in packets] == list(range(len(sent.envelopes)))
    assert finder.found == len(sent.envelopes)
    assert finder.skipped == len(data) - sum(map(len, sent.envelopes))
    assert finder.offset == len(data)


def test_a_whole_packet_is_told_with_its_last_byte(sent):
    finder = PacketFinder()
    packet = sent.envelopes[0]
    assert finder.feed(packet[:-1]) == []
    [found] = finder.feed(packet[-1:])
    assert (found.offset, found.length) == (0, len(packet))
    assert (found.flight_byte, found.boot_byte) == (FLIGHT[0], 1)


def test_packets_built_from_the_declaration_are_read_the_same():
    power = next(kind for kind in OWN_KINDS if kind.name == "power")
    values = {"battery_counts": 1, "rail_counts": 2, "board_temperature_counts": -3}
    record = power.structure.build({"kind": power.number, "difference": -4, **values})
    [packet] = PacketFinder().feed(construct_packet(record * 2, number=65535, tick=7))
    assert (packet.number, packet.tick, packet.records) == (65535, 7, record * 2)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(noise=st.lists(st.binary(max_size=40) | st.sampled_from([
    PACKET_SYNC, PACKET_SYNC + b"\xc8", PACKET_SYNC + b"\xc8\x5a\x01" + bytes(6) + b"\x02", PACKET_SYNC[:1],
]), min_size=6, max_size=6))
def test_a_false_sync_swallows_no_packet(sent, noise):
    data = b"".join(n + p for n, p in zip(noise, sent.envelopes[:6], strict=True))
    packets = PacketFinder()
    found = packets.feed(data) + packets.finish()
    assert [data[p.offset:p.offset + p.length] for p in found] == sent.envelopes[:6]


def test_a_packet_within_a_packet_is_its_text():
    text = next(kind for kind in OWN_KINDS if kind.name == "text")
    inner = construct_packet(bytes([6]) + bytes(8), number=99)
    values = {"part": 0, "parts": 1, "characters": inner.ljust(24, b"\0")}
    outer = construct_packet(text.structure.build({"kind": text.number, "difference": 0, **values}))
    finder = PacketFinder()
    assert [p.number for p in finder.feed(outer * 2) + finder.finish()] == [0, 0]
    # If the outer one is damaged, the inner one is all there is.
    assert [p.number for p in PacketFinder().feed(outer[:-1] + b"\0" + outer)] == [99, 0]


@pytest.mark.parametrize("records", [b"", b"\x02\x00", b"\x00" * 9, b"\xc8\x00\x00\x01"])
def test_a_right_check_sum_alone_makes_no_packet(records):
    finder = PacketFinder()
    assert finder.feed(construct_packet(records)) + finder.finish() == []
    assert finder.skipped == len(construct_packet(records))


def test_a_packet_longer_than_allowed_is_none(sent):
    record = bytes([5]) + bytes(14)
    longest = record * (PACKET_RECORDS_MAX // len(record))
    finder = PacketFinder()
    assert len(finder.feed(construct_packet(longest))) == 1
    assert finder.feed(construct_packet(longest + record)) + finder.finish() == []


@pytest.mark.parametrize("at", [0, 2, 3, 5, 9, 11, 40, -1])
def test_a_flipped_bit_costs_its_packet_only(tmp_path, sent, at):
    packets = list(sent.envelopes)
    damaged = bytearray(packets[10])
    damaged[at] ^= 4
    packets[10] = bytes(damaged)
    recovered = recover_bytes(tmp_path, b"".join(packets))
    assert recovered_keys(recovered.boots[0], FLIGHT) == sent.keys(but={10})
    assert losses(recovered) == [(1, 10, 10, "link gap")]
    assert states(recovered)[1] == ("other", len(damaged))


def test_losses_are_counted_between_the_first_and_the_last_packet_heard(tmp_path, sent):
    count = len(sent.envelopes)
    kept = sent.envelopes[:2] + sent.envelopes[5:9] + sent.envelopes[10:]
    recovered = recover_bytes(tmp_path, b"".join(kept[1:-1]))
    [boot] = recovered.boots
    assert losses(recovered) == [(boot.boot, 2, 4, "link gap"), (boot.boot, 9, 9, "link gap")]
    assert (boot.envelopes_found, boot.envelopes_expected) == (count - 6, count - 2)


def test_repeated_packets_count_once(tmp_path, sent):
    recovered = recover_bytes(tmp_path, b"".join(sent.envelopes + sent.envelopes[4:9]))
    assert recovered_keys(recovered.boots[0], FLIGHT) == sent.keys()
    assert recovered.ledger.ranges[-1].detail["note"] == "duplicate of a packet found before"
    assert "5 packets stand in the source more than once; each is used once" in recovered.ledger.notes


def test_a_shuffled_capture_is_put_in_order(tmp_path, sent):
    packets = list(sent.envelopes)
    random.Random(5).shuffle(packets)
    recovered = recover_bytes(tmp_path, b"".join(packets))
    [boot] = recovered.boots
    assert (boot.flight, boot.envelopes_expected) == (FLIGHT.hex(), len(packets))
    assert recovered_keys(boot, FLIGHT) == sent.keys()


def test_two_captures_of_one_boot_make_one_log(tmp_path, sent):
    first, second = sent.envelopes[::2], sent.envelopes[1::3] + sent.envelopes[2:6]
    recovered = recover_bytes(tmp_path, b"".join(first + second))
    [boot] = recovered.boots
    missing = {i for i, p in enumerate(sent.envelopes) if p not in first + second}
    assert recovered_keys(boot, FLIGHT) == sent.keys(but=missing)


def test_the_running_number_and_the_tick_may_begin_anew(tmp_path):
    sent = written_log(rounds=60, packets=True, number=65536 - 20, start_ms=2**29 - 4000)
    recovered = recover_bytes(tmp_path, b"".join(sent.envelopes))
    [boot] = recovered.boots
    assert recovered_keys(boot, FLIGHT) == sent.keys()
    assert boot.envelopes_expected == len(sent.envelopes)
    assert losses(recovered) == []


def test_boots_that_share_their_low_byte_are_told_apart(tmp_path):
    boots = [written_log(rounds=12, packets=True, boot=boot) for boot in (1, 257)]
    recovered = recover_bytes(tmp_path, b"".join(p for sent in boots for p in sent.envelopes))
    assert [log.boot for log in recovered.boots] == [1, 257]
    for log, sent in zip(recovered.boots, boots, strict=True):
        assert recovered_keys(log, FLIGHT) == sent.keys()


def test_a_manifest_keeps_boots_apart_that_numbers_would_not(tmp_path):
    late = Writer(boot=257, packets=True, number=500, start_ms=400_000).add_manifest().add_rounds(5)
    early = Writer(boot=1, packets=True).add_manifest().add_rounds(5)
    recovered = recover_bytes(tmp_path, b"".join(late.close() + early.close()))
    assert [log.boot for log in recovered.boots] == [1, 257]
    assert recovered_keys(recovered.boots[0], FLIGHT) == early.keys()
    assert recovered_keys(recovered.boots[1], FLIGHT) == late.keys()


def test_a_clock_that_goes_back_is_another_boot(tmp_path):
    flights = [FLIGHT, FLIGHT[:1] + OTHER_FLIGHT[1:]]
    late = Writer(flight=flights[0], packets=True, start_ms=500_000).add_rounds(5)
    early = Writer(flight=flights[1], packets=True, number=60).add_rounds(5)
    recovered = recover_bytes(tmp_path, b"".join(late.close() + early.close()))
    assert [recovered_keys(log, writer.flight) for log, writer in
            zip(recovered.boots, (late, early), strict=True)] == [late.keys(), early.keys()]


def test_two_captures_go_together_after_number_and_tick_began_anew(tmp_path):
    sent = written_log(rounds=60, packets=True, number=65536 - 20, start_ms=2**29 - 4000)
    second = sent.envelopes[61::2]
    recovered = recover_bytes(tmp_path, b"".join(sent.envelopes[::2] + second))
    [boot] = recovered.boots
    assert recovered_keys(boot, FLIGHT) == sent.keys(but=range(1, 61, 2))
    assert boot.envelopes_expected == len(sent.envelopes)


def test_times_and_numbers_never_begin_below_zero(tmp_path):
    sent = written_log(rounds=60, packets=True, number=65536 - 20, start_ms=2**29 - 4000)
    recovered = recover_bytes(tmp_path, b"".join(sent.envelopes[60:] + sent.envelopes[:58]))
    [boot] = recovered.boots
    assert recovered_keys(boot, FLIGHT) == sent.keys(but={58, 59})
    assert losses(recovered) == [(1, 65536 - 20 + 58, 65536 - 20 + 59, "link gap")]


def test_two_flights_of_one_first_byte_without_manifests_are_not_mixed(tmp_path):
    flights = [FLIGHT, FLIGHT[:1] + OTHER_FLIGHT[1:]]
    sent = [Writer(flight=flight, packets=True).add_rounds(12) for flight in flights]
    recovered = recover_bytes(tmp_path, b"".join(p for writer in sent for p in writer.close()))
    assert [log.flight for log in recovered.boots] == ["unknown-5a", "unknown-5a-2"]
    for log, writer in zip(recovered.boots, sent, strict=True):
        assert recovered_keys(log, writer.flight) == writer.keys()


def test_a_second_boot_without_manifest_joins_the_flight_it_can_only_be_of(tmp_path, sent):
    second = Writer(boot=2, packets=True).add_rounds(5)
    recovered = recover_bytes(tmp_path, b"".join(sent.envelopes + second.close()))
    assert [(log.flight, log.boot) for log in recovered.boots] == [(FLIGHT.hex(), 1), (FLIGHT.hex(), 2)]
    assert recovered.boots[1].manifest_borrowed
    assert any("are taken for flight" in note for note in recovered.ledger.notes)


def test_a_packet_of_an_unknown_kind_waits_for_its_manifest(tmp_path):
    writer = Writer(packets=True)
    payloads = [bytes([i, 0, 0, 0, i]) for i in range(9)]
    for i, payload in enumerate(payloads):
        writer._builder.open(100 + i)
        writer._builder.add(AnyRecord(200, payload), 100 + i)
        writer.close()
    refused = list(writer.envelopes)
    writer.add_manifest(proven(newer_lines()))
    writer.close()
    [boot] = recover_bytes(tmp_path, noisy(writer.envelopes, seed=3)).boots
    assert boot.records["ozone"].tick_ms.tolist() == list(range(100, 109))
    assert boot.records["ozone"].values["a"].tolist() == list(range(9))
    finder = PacketFinder()
    assert finder.feed(b"".join(refused)) + finder.finish() == []
    ozone = KindLayout(200, "ozone", (FieldLayout("a", "B", 1, "1"), FieldLayout("b", "i", 1, "1")))
    assert len(PacketFinder([OWN_KINDS, (ozone,)]).feed(b"".join(refused))) == 9


def test_one_packet_on_a_card_is_not_believed(tmp_path, sent):
    log = written_log(rounds=10)
    one = Writer(flight=OTHER_FLIGHT, packets=True).add_rounds(1).close()[0]
    noise = random.Random(8).randbytes(512)
    recovered = recover_bytes(tmp_path, b"".join(log.envelopes) + noise + one + noise)
    assert [boot.flight for boot in recovered.boots] == [FLIGHT.hex()]
    assert "packet" not in recovered.ledger.bytes_by_state()
    place = 512 * len(log.envelopes) + 512
    assert any(note.startswith(f"byte {place}: looks like one packet") for note in recovered.ledger.notes)
    # In a capture, where nothing but packets is expected, one is enough.
    [boot] = recover_bytes(tmp_path, noise + one + noise).boots
    assert boot.flight == f"unknown-{OTHER_FLIGHT[0]:02x}"


def test_packets_beside_blocks_are_found_whole_blocks_are_not_searched(tmp_path, sent):
    log = written_log(rounds=10, flight=OTHER_FLIGHT)
    data = log.envelopes[0] + sent.envelopes[0] + sent.envelopes[1] + b"".join(log.envelopes[1:])
    recovered = recover_bytes(tmp_path, data)
    assert states(recovered)[:2] == [("block", 512), ("packet", len(sent.envelopes[0] + sent.envelopes[1]))]


def packet_that_ends_in_zero(records):
    """A packet whose last byte, of its check sum, looks like unwritten space."""
    return next(p for p in (construct_packet(records, number=n) for n in range(65536)) if p[-1] == 0)


def test_what_only_looks_like_a_damaged_block_hides_no_packets(tmp_path, sent):
    header = written_log(rounds=2).envelopes[0][:BLOCK_FIRST]
    before, behind = b"".join(sent.envelopes[:4]), b"".join(sent.envelopes[4:])
    recovered = recover_bytes(tmp_path, before + header + behind)
    assert recovered_keys(recovered.boots[0], FLIGHT) == sent.keys()
    assert states(recovered) == [
        ("packet", len(before)), ("block_damaged", len(header)), ("packet", len(behind)),
    ]


def test_a_packet_of_an_unknown_kind_is_found_there_too(tmp_path):
    writer = Writer(packets=True)
    for i in range(9):
        writer._builder.open(100 + i)
        writer._builder.add(AnyRecord(200, bytes([i, 0, 0, 0, i])), 100 + i)
        writer.close()
    header = written_log(rounds=2).envelopes[0][:BLOCK_FIRST]
    hidden = b"".join(writer.envelopes)
    writer.add_manifest(proven(newer_lines()))
    writer.close()
    [boot] = recover_bytes(tmp_path, header + b"".join(writer.envelopes)).boots
    assert len(hidden) < 512 - len(header)
    assert boot.records["ozone"].tick_ms.tolist() == list(range(100, 109))


def test_one_packet_in_a_damaged_block_leaves_it_damaged(tmp_path):
    log = written_log(rounds=10)
    one = Writer(flight=OTHER_FLIGHT, packets=True).add_rounds(1).close()[0]
    block = bytearray(log.envelopes[2])
    block[100:100 + len(one)] = one
    recovered = recover_bytes(tmp_path, b"".join([*log.envelopes[:2], block, *log.envelopes[3:]]))
    assert ("block_damaged", 512) in states(recovered)
    assert any("looks like one packet" in note for note in recovered.ledger.notes)


@pytest.mark.parametrize("fill", [4096, 2 * WINDOW_SIZE])
def test_a_packet_may_end_in_what_looks_like_unwritten_space(tmp_path, fill):
    packet = packet_that_ends_in_zero(bytes([6]) + bytes(8))
    noise = random.Random(7).randbytes(WINDOW_SIZE + 1 - len(packet))
    recovered = recover_bytes(tmp_path, noise + packet + bytes(fill))
    assert states(recovered) == [
        ("other", len(noise)), ("packet", len(packet)), ("unwritten_zeros", fill)
    ]


def test_a_packet_of_an_unknown_kind_may_end_there_too(tmp_path):
    writer = Writer(packets=True, number=60000).add_manifest(proven(newer_lines()))
    writer.close()
    packet = packet_that_ends_in_zero(b"\xc8" + bytes(7))
    before = b"".join(writer.envelopes)
    before += random.Random(7).randbytes(WINDOW_SIZE + 1 - len(packet) - len(before))
    recovered = recover_bytes(tmp_path, before + packet + bytes(5000))
    assert states(recovered)[-2:] == [("packet", len(packet)), ("unwritten_zeros", 5000)]


def test_a_block_ends_the_waiting_for_the_rest_of_a_packet(tmp_path):
    log = written_log(rounds=10, flight=OTHER_FLIGHT)
    false = PACKET_SYNC + b"\xc8" + bytes(8) + b"\x01"  # promises 200 bytes, the first record 53
    packets = [construct_packet(bytes([6]) + bytes(8), number=n) for n in (1, 2)]
    data = false + packets[0] + packets[1] + log.envelopes[0] + b"x" + log.envelopes[1]
    assert states(recover_bytes(tmp_path, data))[:3] == [("other", 12), ("packet", 44), ("block", 512)]


def test_random_bytes_hold_no_packet():
    finder = PacketFinder()
    assert finder.feed(np.random.default_rng(6).bytes(4_000_000)) + finder.finish() == []
    assert finder.skipped == 4_000_000


def test_skipped_bytes_keep_the_offsets_right(sent):
    first, second = sent.envelopes[:2]
    finder = PacketFinder(offset=1000)
    assert [p.offset for p in finder.feed(first + second[:20])] == [1000]
    assert finder.skip(500) == []
    [packet] = finder.feed(second)
    assert packet.offset == 1000 + len(first) + 20 + 500
    assert finder.skipped == 520
