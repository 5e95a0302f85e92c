"""Records go back into packets bit for bit, whatever their kind."""

from struct import pack

import numpy as np
import pytest

from ground.layout import OWN_KINDS, FieldLayout, KindLayout
from ground.link.repack import PACKET_SPAN_MS, packets_of, too_long
from ground.recover.packets import PacketFinder
from ground.recover.result import BootLog, KindRecords
from protocol.packet import PACKET_OVERHEAD, PACKET_RECORDS_MAX
from protocol.tick import TICK_PERIOD

PRESSURE = next(kind for kind in OWN_KINDS if kind.name == "pressure")
FIX = next(kind for kind in OWN_KINDS if kind.name == "fix")
WIND = KindLayout(200, "wind", (FieldLayout("a", "B", 1, "1"), FieldLayout("name", "5s", 1, "1")))
HUGE = KindLayout(201, "huge", (FieldLayout("a", f"{PACKET_RECORDS_MAX - 2}s", 1, "1"),))


def records_of(layout, ticks, seed):
    size = layout.payload_size
    raw = np.random.default_rng(seed).integers(0, 256, len(ticks) * size, np.uint8).tobytes()
    return KindRecords(layout, np.array(ticks, np.int64), np.frombuffer(raw, layout.dtype))


def boot_of(*kinds, flight="1a2b3c4d", boot=0x102):
    return BootLog(flight, boot, None, {kind.layout.name: kind for kind in kinds}, 1, 1, 0)


def unpacked(packets, sizes):
    """Independent of the code under test: {number: [(tick, payload), ...]} from the packets' bytes."""
    found = {}
    for packet in packets:
        at = 0
        while at < len(packet.records):
            number = packet.records[at]
            difference = int.from_bytes(packet.records[at + 1 : at + 3], "little", signed=True)
            payload = packet.records[at + 3 : at + 3 + sizes[number]]
            found.setdefault(number, []).append(((packet.tick + difference) % TICK_PERIOD, payload))
            at += 3 + sizes[number]
    return found


@pytest.mark.parametrize("start", [0, TICK_PERIOD - 3000, 5 * TICK_PERIOD + 17])
def test_every_record_arrives_with_its_tick_and_its_bytes(start):
    pressure = records_of(PRESSURE, range(start, start + 20_000, 37), 1)
    fix = records_of(FIX, range(start + 900, start + 20_000, 1000), 2)
    wind = records_of(WIND, [start + 5, start + 5, start + 6000], 3)
    kinds = (PRESSURE, FIX, WIND)
    sent = list(packets_of(boot_of(pressure, fix, wind)))
    finder = PacketFinder((kinds,))
    packets = finder.feed(b"".join(p.data for p in sent)) + finder.finish()
    assert finder.skipped == 0
    assert [p.number for p in packets] == list(range(len(sent)))
    assert {(p.flight_byte, p.boot_byte) for p in packets} == {(0x1A, 0x02)}
    found = unpacked(packets, {kind.number: kind.payload_size for kind in kinds})
    for records in (pressure, fix, wind):
        size = records.layout.payload_size
        raw = records.values.tobytes()
        expected = [
            (int(tick) % TICK_PERIOD, raw[size * i : size * (i + 1)])
            for i, tick in enumerate(records.tick_ms)
        ]
        assert found[records.layout.number] == expected
    assert sum(p.records for p in sent) == len(pressure.tick_ms) + len(fix.tick_ms) + len(wind.tick_ms)


def test_a_packet_ends_when_it_is_full_or_when_its_span_is_over():
    dense = records_of(PRESSURE, range(1000), 4)
    for packet in packets_of(boot_of(dense)):
        assert len(packet.data) <= PACKET_RECORDS_MAX + PACKET_OVERHEAD
    sparse = records_of(PRESSURE, [0, PACKET_SPAN_MS, PACKET_SPAN_MS + 1, 10**6], 5)
    assert [p.records for p in packets_of(boot_of(sparse))] == [2, 1, 1]


def test_a_record_that_no_packet_can_carry_is_counted_and_left_out():
    huge = records_of(HUGE, [1, 2], 6)
    pressure = records_of(PRESSURE, [3], 7)
    boot = boot_of(huge, pressure)
    assert too_long(boot) == 2
    assert [p.records for p in packets_of(boot)] == [1]


def test_a_capture_that_knows_only_a_byte_of_its_flight_can_be_sent_again():
    (packet,) = packets_of(boot_of(records_of(PRESSURE, [3], 8), flight="unknown-c7", boot=3))
    assert packet.data[3:5] == pack("BB", 0xC7, 3)


def test_a_boot_without_records_sends_nothing():
    assert list(packets_of(boot_of())) == []


def test_manifest_pieces_travel_in_packets_of_their_own():
    manifest = OWN_KINDS[0]
    kinds = (PRESSURE, manifest)
    boot = boot_of(records_of(PRESSURE, range(0, 2000, 90), 1), records_of(manifest, range(5, 2000, 100), 2))
    finder = PacketFinder((kinds,))
    packets = finder.feed(b"".join(p.data for p in packets_of(boot))) + finder.finish()
    found = [set(unpacked([packet], {kind.number: kind.payload_size for kind in kinds})) for packet in packets]
    assert {frozenset(numbers) for numbers in found} == {frozenset({PRESSURE.number}), frozenset({manifest.number})}
