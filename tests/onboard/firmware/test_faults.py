"""Chips that are absent, fail and come back: the others do not notice, and nothing stale is logged."""

import pytest
from fault_board import SETTINGS, WORDS, Board, boot, fly
from fault_card import Card
from fault_read import check, strange

SECONDS = 60
# The chip, the records that carry its readings, and which of their fields are its own.
CHIPS = {
    "barometer": {"pressure": ("pressure_counts", "temperature_counts")},
    "humidity": {"air": ("humidity_counts", "humidity_temperature_counts")},
    "motion": {
        "motion": tuple(
            f"{what}_{axis}_counts" for what in ("acceleration", "rate") for axis in "xyz"
        ),
        "power": ("board_temperature_counts",),
    },
}
FAILED, RETURNED = "device failed", "device returned"
# From when to when (in s) a chip is away, and what is told then.
ABSENCES = {
    "absent at the boot": (0, 20, [FAILED, RETURNED]),
    "absent for ever": (0, SECONDS, [FAILED]),
    "away for 20 s": (20, 40, [FAILED, RETURNED]),
    "gone for ever": (20, SECONDS, [FAILED]),
}


def flown(faults=(), settings=SETTINGS):
    """Fly for a minute; faults: (second, function of the board), in order. Returns the card's Log."""
    card = Card()
    board = Board(card)
    logger = None
    for second, fault in faults:
        if second and logger is None:
            logger = boot(board, settings)
        if logger:
            fly(logger, board, second)
        fault(board)
    logger = logger or boot(board, settings)
    fly(logger, board, SECONDS)
    assert logger.scheduler.missed == 0
    logger.finish()
    return check(card)


@pytest.fixture(scope="module")
def faultless():
    return flown()


def same_counts(log, faultless, but=()):
    counts, expected = log.counts(), faultless.counts()
    kinds = {"pressure", "air", "motion", "power", "health", "fix"} - set(but)
    return all(abs(counts[kind] - expected[kind]) <= 1 for kind in kinds)


def test_without_a_fault_nothing_is_missing_and_nothing_is_told(faultless):
    expected = {"pressure": 300, "air": 60, "motion": 600, "power": 12, "health": 6, "fix": 60}
    assert {kind: faultless.counts()[kind] for kind in expected} == expected
    assert strange(faultless) == [] and faultless.device_events() == [] and faultless.messages() == []
    for name, kinds in CHIPS.items():
        assert missing(faultless, name) == {kind: [] for kind in kinds}


def missing(log, name):
    """For each kind with the chip's readings, the times in s of the records in which they are missing."""
    found = {}
    for kind, fields in CHIPS[name].items():
        found[kind] = []
        for record in log.of(kind):
            gaps = {record.values[field] is None for field in fields}
            assert len(gaps) == 1  # all of a sample or nothing
            if gaps == {True}:
                found[kind].append(record.tick / 1000)
    return found


@pytest.mark.parametrize("absence", ABSENCES)
@pytest.mark.parametrize("name", CHIPS)
def test_a_chip_that_is_away_leaves_missing_values_and_no_trace_in_the_others(name, absence, faultless):
    start, end, told = ABSENCES[absence]
    log = flown([
        (start, lambda board: getattr(board, name).fail()),
        (end, lambda board: getattr(board, name).come_back()),
    ])
    assert same_counts(log, faultless) and strange(log) == []
    assert log.device_events() == [(what, name) for what in told]
    for other in CHIPS:
        for kind, times in missing(log, other).items():
            if other != name:
                assert times == []
            else:
                assert times and start <= min(times) and max(times) < end + 0.6
                away = [r.tick / 1000 for r in log.of(kind) if start + 0.1 < r.tick / 1000 < end - 0.1]
                assert set(away) <= set(times)


@pytest.mark.parametrize("name", CHIPS)
def test_the_events_tell_when_and_how_often_a_chip_failed(name):
    log = flown([
        (20, lambda board: getattr(board, name).fail()),
        (40, lambda board: getattr(board, name).come_back()),
    ])
    failed, returned = log.events(FAILED, RETURNED)
    kind = next(iter(CHIPS[name]))
    assert failed[3] == 19 and 20_000 <= failed[0] < 21_100  # ENODEV, as machine.I2C has it
    assert returned[3] == len(missing(log, name)[kind]) and 40_000 <= returned[0] < 41_100


def test_a_motion_chip_that_lost_its_supply_for_a_moment_is_started_anew(faultless):
    # come_back alone: the chip always answers, but with its registers reset, asleep, all measurements zero.
    log = flown([(30.5, lambda board: board.motion.come_back())])
    assert log.device_events() == [(FAILED, "motion"), (RETURNED, "motion")]
    assert same_counts(log, faultless) and strange(log) == []
    assert len(missing(log, "motion")["motion"]) == 1
    assert log.events(FAILED)[0][3] == 5


def test_a_sleeping_motion_chip_tells_no_temperature_either():
    # Motion is sampled rarely here, so that the chip sleeps through several samples of its thermometer.
    settings = SETTINGS.replace('"motion": 100', '"motion": 10000').replace('"power": 5000', '"power": 1000')
    log = flown([(30.5, lambda board: board.motion.come_back())], settings)
    assert strange(log) == []


def test_a_barometer_that_comes_late_tells_its_words_in_a_message():
    log = flown([(0, lambda board: board.barometer.fail()), (20, lambda board: board.barometer.come_back())])
    assert "\nsensor barometer ms5611\n" in log.manifest(1)
    assert log.messages() == ["sensor barometer ms5611 " + " ".join(str(word) for word in WORDS)]


def test_a_barometer_that_was_there_at_the_boot_tells_its_words_in_the_manifest_alone():
    log = flown([(20, lambda board: board.barometer.fail()), (40, lambda board: board.barometer.come_back())])
    assert "\nsensor barometer ms5611 " + " ".join(str(word) for word in WORDS) + "\n" in log.manifest(1)
    assert log.messages() == []


def test_the_whole_bus_away_leaves_the_receiver_the_adc_and_the_card(faultless):
    def every_chip(what):
        return lambda board: [getattr(getattr(board, name), what)() for name in CHIPS]

    log = flown([(20, every_chip("fail")), (40, every_chip("come_back"))])
    assert same_counts(log, faultless) and strange(log) == []
    told = log.device_events()
    assert sorted(told[:3]) == [(FAILED, name) for name in sorted(CHIPS)]
    assert sorted(told[3:]) == [(RETURNED, name) for name in sorted(CHIPS)]


# An ADC that sits on a bus, or one of a port whose readings can fail (from memory: on the ESP32 they can).
@pytest.mark.parametrize("role, kind, field, device", [
    ("outside_temperature", "air", "temperature_counts", "outside_temperature"),
    ("battery", "power", "battery_counts", "power"),
    ("rail", "power", "rail_counts", "power"),
])
@pytest.mark.parametrize("absence", ["absent at the boot", "away for 20 s"])
def test_an_adc_that_fails_takes_no_other_reading_along(role, kind, field, device, absence, faultless):
    start, end, told = ABSENCES[absence]
    log = flown([
        (start, lambda board: board.adc_faults.add(role)),
        (end, lambda board: board.adc_faults.clear()),
    ])
    assert same_counts(log, faultless) and strange(log) == []
    for record in log.of(kind):
        for name, value in record.values.items():
            assert (value is None) == (name == field and start <= record.tick / 1000 < end)
    assert log.device_events() == [(what, device) for what in told]


def test_a_task_that_raises_something_unexpected_neither_stops_the_others_nor_itself(faultless):
    log = flown([
        (20, lambda board: board.humidity.fail(ZeroDivisionError)),
        (40, lambda board: board.humidity.come_back()),
    ])
    assert same_counts(log, faultless, but=["air"]) and strange(log) == []
    assert log.messages() == ["AirTask: ZeroDivisionError(19)"]  # once, not 20 times
    assert [record.values["humidity_counts"] for record in log.of("air")].count(None) == 0
    assert len(log.of("air")) == faultless.counts()["air"] - 20


def test_every_task_that_raises_is_told_once():
    def both(what, *fault):
        return lambda board: [getattr(chip, what)(*fault) for chip in (board.humidity, board.motion)]

    log = flown([(20, both("fail", ValueError)), (30, both("come_back"))])
    assert sorted(log.messages()) == [
        "AirTask: ValueError(19)", "MotionTask: ValueError(19)", "PowerTask: ValueError(19)"
    ]


def test_a_failure_of_which_not_even_the_message_can_be_made_does_not_end_the_loop():
    # Out of memory, the likeliest of the unexpected failures on a small board, hits the message too.
    def no_memory(message):
        raise MemoryError

    card = Card()
    board = Board(card)
    logger = boot(board)
    logger.events.say = no_memory
    board.humidity.fail(MemoryError)
    fly(logger, board, SECONDS)
    logger.finish()
    assert len(check(card).of("motion")) == 10 * SECONDS


def test_a_gust_of_two_seconds_at_the_barometer_is_no_launch_and_a_climb_is():
    def height_m(second):
        return 300 if second in (30, 31) else max(100, 100 + 20 * (second - 40))

    card = Card()
    board = Board(card, height_m)
    board.uart.says = lambda second: b""  # the barometer is alone
    logger = boot(board)
    fly(logger, board, SECONDS)
    logger.finish()
    _, (tick, _, phase, height) = check(card).events("phase changed")
    assert phase == "climbing" and 47_500 <= tick <= 53_000 and 240 <= height <= 360
