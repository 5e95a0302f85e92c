"""The status line says what was heard, and no more."""

from struct import unpack_from

import pytest
import small_flight
from small_flight import FLIGHT, LogWriter, height_m, manifest_of

from ground.link.live import Live
from ground.link.status import status_line
from ground.recover.packets import Packet
from protocol.block import BLOCK_FIRST, BLOCK_HEADER, BLOCK_HEADER_FIELDS, BLOCK_SIZE


class Sender:
    """Hands small_flight's records to a Live, in packets, one a second of the flight."""

    def __init__(self):
        self.live = Live()
        self.packets = 0

    def send(self, second, write, boot=1, flight=FLIGHT):
        log = LogWriter(flight, boot, manifest_of(flight, boot))
        write(log, second, second * 1000)
        blocks = log.close()
        for start in range(0, len(blocks), BLOCK_SIZE):
            block = blocks[start : start + BLOCK_SIZE]
            header = dict(zip(BLOCK_HEADER_FIELDS, unpack_from(BLOCK_HEADER, block), strict=True))
            used, tick = header["used"], header["tick"]
            records = block[BLOCK_FIRST : BLOCK_FIRST + used]
            packet = Packet(0, used + 13, flight[0], boot, self.packets, tick, records)
            self.packets += 1
            self.live.take(packet, float(second))

    def line(self, now_s, silent_s=0.0, noise=False):
        return status_line(self.live, now_s, silent_s, self.packets, 17, noise)


def fix_of(log, second, tick_ms):
    log.add("fix", tick_ms, **small_flight.fix(second))


def pressure_of(log, second, tick_ms):
    log.add("pressure", tick_ms, **small_flight.pressure(height_m(second)))


def manifest_record(log, second, tick_ms):
    log.add_manifest(tick_ms)


def climbing(log, second, tick_ms):
    log.add("event", tick_ms, code=2, subject=1, detail=0)


def climb(sender, seconds, *writers):
    for second in seconds:
        for write in writers:
            sender.send(second, write)


def test_a_climb_with_fixes_is_one_plain_line():
    sender = Sender()
    sender.send(100, climbing)
    climb(sender, range(100, 131), fix_of)
    # Height 96 m + 5 m/s x 100 s; 596 m / 0.3048 = 1955.4 ft. Position: see small_flight.fix.
    assert sender.line(now_s=132.0) == (
        "08:32:10 UTC, climbing, height 596 m (1955 ft), climb rate +5.0 m/s, at 47.03990 N 19.82570 E, "
        "fix 2 s old; 32 packets good, 17 bytes not understood"
    )


def test_without_a_manifest_a_pressure_says_nothing():
    sender = Sender()
    climb(sender, range(100, 105), pressure_of)
    assert sender.line(now_s=104.0) == (
        "no fix, phase not heard yet, height not known; 5 packets good, 17 bytes not understood"
    )


def test_with_a_manifest_the_pressure_height_stands_in_for_a_missing_fix():
    sender = Sender()
    sender.send(99, manifest_record)
    climb(sender, range(100, 131), pressure_of)
    line = sender.line(now_s=131.0)
    # small_flight makes pressures from the standard atmosphere, so the height comes back.
    assert line.startswith(
        "no fix, phase not heard yet, pressure height 596 m (1955 ft), climb rate +5.0 m/s;"
    )


def test_a_fix_grows_old_and_is_told_as_the_past():
    sender = Sender()
    sender.send(99, manifest_record)
    climb(sender, range(100, 110), fix_of, pressure_of)
    climb(sender, range(110, 141), pressure_of)
    line = sender.line(now_s=140.0)
    assert line.startswith(
        "no fix, phase not heard yet, pressure height 646 m (2119 ft), climb rate +5.0 m/s; "
    )
    assert "; last fix 08:31:49 UTC, 31 s ago, height 491 m (1611 ft), at 47.03864 N 19.82360 E; " in line


def test_silence_is_told_as_silence_and_not_as_failure():
    sender = Sender()
    climb(sender, range(100, 104), fix_of)
    assert sender.line(now_s=115.0, silent_s=12.0) == (
        "silence for 12 s; silence alone does not mean that the payload has failed; "
        "last fix 08:31:43 UTC, 12 s ago, height 461 m (1512 ft), at 47.03828 N 19.82300 E; "
        "4 packets good, 17 bytes not understood"
    )


def test_bytes_that_are_no_packets_are_told_as_noise():
    line = Sender().line(now_s=20.0, silent_s=20.0, noise=True)
    assert line.startswith("no packet for 20 s, only noise; ")


def test_before_anything_was_heard_the_line_says_so():
    assert Sender().line(now_s=1.0, silent_s=1.0).startswith("listening, nothing heard yet; 0 packets good")


@pytest.mark.parametrize(
    "change", [{"latitude": None}, {"longitude": None}, {"quality": None}, {"quality": 0}], ids=str
)
def test_a_fix_without_a_position_is_no_fix(change):
    sender = Sender()
    values = {**small_flight.fix(100), **change}
    given = {name: value for name, value in values.items() if value is not None}
    sender.send(100, lambda log, second, tick_ms: log.add("fix", tick_ms, **given))
    assert sender.live.fix is None


def test_a_fix_without_a_height_still_tells_the_position():
    sender = Sender()
    values = small_flight.fix(100)
    del values["height"]
    sender.send(100, lambda log, second, tick_ms: log.add("fix", tick_ms, **values))
    assert ", height not known, at 47.03810 N 19.82270 E, fix 0 s old" in sender.line(now_s=100.0)


def test_a_leap_second_is_the_sixtieth_of_its_minute():
    # ITU-R TF.460-6, annex 1, 2.2: a positive leap second is 23 h 59 min 60 s.
    sender = Sender()
    values = {**small_flight.fix(100), "time_of_day": 86_400_500}
    sender.send(100, lambda log, second, tick_ms: log.add("fix", tick_ms, **values))
    assert sender.line(now_s=100.0).startswith("23:59:60 UTC, ")


def test_a_climb_rate_is_not_carried_over_from_the_boot_before():
    sender = Sender()
    climb(sender, range(100, 131), fix_of)
    sender.send(1, fix_of, boot=2)
    assert "climb rate" not in sender.line(now_s=2.0)


def test_a_sensor_that_stops_answering_takes_its_value_from_the_line():
    sender = Sender()
    sender.send(99, manifest_record)
    sender.send(100, fix_of)
    sender.send(100, lambda log, second, tick_ms: log.add("air", tick_ms, **small_flight.air(-12.34)))
    assert ", outside -12.3 degC;" in sender.line(now_s=101.0)
    sender.send(101, lambda log, second, tick_ms: log.add("air", tick_ms, humidity_counts=30000))
    assert "outside" not in sender.line(now_s=101.0)


def test_another_flight_on_the_same_channel_does_not_inherit_a_position():
    sender = Sender()
    sender.send(100, fix_of)
    sender.send(101, climbing, flight=b"\xee\1\1\1")
    assert sender.live.fix is None


def test_a_new_boot_keeps_the_last_position_and_waits_for_its_own_manifest():
    sender = Sender()
    sender.send(99, manifest_record)
    sender.send(100, fix_of)
    sender.send(101, pressure_of, boot=2)
    assert sender.live.fix is not None
    assert "pressure height" not in sender.line(now_s=120.0)
