"""The status line of a payload that speaks in beacons."""

from test_live import Sender, climb, climbing, fix_of, manifest_record

from small_flight import fix, height_m


def beacon_of(age_s=2, battery=28000, position=True):
    """Write a beacon of the small flight whose fix is so old."""

    def write(log, second, tick_ms):
        values = {"phase": 1, "battery_counts": battery}
        if position:
            past = fix(second - age_s)
            values |= {"latitude": past["latitude"], "longitude": past["longitude"], "fix_age": age_s}
            values["height"] = round(height_m(second - age_s))
        log.add("beacon", tick_ms, **values)

    return write


def test_beacons_alone_give_position_height_rate_phase_and_age():
    sender = Sender()
    climb(sender, range(100, 131, 10), beacon_of())
    # The last beacon is of 130 s and says what was at 128 s: 96 m + 5 m/s x 98 s = 586 m. Position: see
    # small_flight.fix.
    assert sender.line(now_s=131.0, silent_s=1.0) == (
        "UTC not known, climbing, height 586 m (1923 ft), climb rate +5.0 m/s, at 47.03978 N 19.82550 E, "
        "fix 3 s old; 4 packets good, 17 bytes not understood"
    )


def test_with_the_manifest_the_battery_is_told():
    sender = Sender()
    sender.send(99, manifest_record)
    sender.send(100, beacon_of())
    # 28000 / 65535 of 3.3 V, behind a divider by 3.
    assert ", battery 4.23 V;" in sender.line(now_s=100.0)
    sender.send(110, beacon_of(battery=65535))
    assert "battery" not in sender.line(now_s=110.0)


def test_the_pause_between_two_beacons_is_no_silence():
    sender = Sender()
    climb(sender, range(100, 281, 60), beacon_of())
    assert sender.line(now_s=335.0, silent_s=55.0).startswith("UTC not known, climbing, height 1336 m")
    assert sender.line(now_s=375.0, silent_s=95.0).startswith("silence for 95 s; silence alone does not mean")


def test_a_fix_record_is_better_than_the_beacon_that_comes_with_it():
    sender = Sender()

    def both(log, second, tick_ms):
        beacon_of(age_s=0)(log, second, tick_ms)
        fix_of(log, second, tick_ms)

    climb(sender, range(100, 131, 10), both)
    line = sender.line(now_s=131.0)
    assert line.startswith("08:32:10 UTC, climbing, height 596 m") and "climb rate +5.0 m/s" in line


def test_a_beacon_that_is_newer_than_the_last_fix_record_takes_over():
    sender = Sender()
    sender.send(100, climbing)
    climb(sender, range(100, 111), fix_of)
    climb(sender, range(120, 141, 10), beacon_of())
    assert ", at 47.04038 N 19.82650 E, fix 2 s old" in sender.line(now_s=140.0)


def test_a_fix_of_long_ago_is_told_as_the_past():
    sender = Sender()
    climb(sender, range(700, 731, 10), beacon_of(age_s=400))
    line = sender.line(now_s=730.0)
    assert line.startswith("no fix, climbing, height not known; last fix UTC not known, 400 s ago, height 1596")


def test_a_beacon_without_a_position_tells_the_phase_only():
    sender = Sender()
    sender.send(100, beacon_of(position=False))
    assert sender.line(now_s=101.0).startswith("no fix, climbing, height not known;")
    assert sender.live.fix is None
