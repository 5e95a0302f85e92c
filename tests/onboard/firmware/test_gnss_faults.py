"""A receiver that is silent, talks nonsense, has no fix, or hangs on a noisy line."""

import pytest
from fault_board import Board, Hits, boot, clock_digits, fix, fly, sentence
from fault_card import Card
from fault_read import check, strange

from onboard.simulator.board.noise import Noise

FAILED, RETURNED = "device failed", "device returned"
TIMEOUT = 110  # ETIMEDOUT
NOISE = 1311  # of 65536: 2 %
PLACE = "4701.92600,N,01948.76200,E"


def flown(*says, seconds=20):
    """Fly `seconds` with each of these receivers in turn; the first has a fix at 100 m. Returns the Log."""
    card = Card()
    board = Board(card)
    logger = boot(board)
    for number, sends in enumerate((board.has_fix, *says), 1):
        board.uart.says = sends
        fly(logger, board, number * seconds)
    logger.finish()
    return check(card)


def silent(second):
    return b""


def garbage(second):
    """Bytes of a wrong baud rate: all values, now and then the $ of a sentence and the end of a line."""
    noise = Noise(second + 1)
    return bytes(noise.next() & 0xFF for _ in range(400))


def other_talk(second):
    """Sentences whose check sums are right and which tell nothing about a position."""
    return sentence("GNTXT,01,01,02,ANTSTATUS=OPEN") + sentence("GPGSV,1,1,00")


def cut_off(second):
    """Both sentences without their ends."""
    return fix(second, 100).replace(b"\r\n", b"")


SAYS_NOTHING = [silent, garbage, other_talk, cut_off]


@pytest.mark.parametrize("says", SAYS_NOTHING)
def test_a_receiver_that_says_nothing_has_failed_after_ten_seconds_and_returns_later(says):
    log = flown(says, lambda second: fix(second, 100))
    (failed, _, device, error), (returned, _, device_again, failures) = log.events(FAILED, RETURNED)
    assert (device, error, device_again, failures) == ("gnss", TIMEOUT, "gnss", 1)
    # The last epoch began at 19.12 s and ended with the pause behind it.
    assert 29_000 <= failed <= 30_500 and 40_000 <= returned <= 41_500
    assert [record.values["time_of_day"] for record in log.of("fix")] == [*range(20), *range(40, 60)]
    assert strange(log) == []


@pytest.mark.parametrize("says", SAYS_NOTHING)
def test_the_other_sensors_do_not_notice_the_receiver(says):
    log = flown(says)
    assert len(log.of("motion")) == 400 and len(log.of("pressure")) == 200 and len(log.of("air")) == 40
    assert {record.values["missed_samples"] for record in log.of("health")} == {0}


def test_a_receiver_that_never_speaks_fails_once():
    card = Card()
    board = Board(card)
    board.uart.says = silent
    logger = boot(board)
    fly(logger, board, 60)
    logger.finish()
    log = check(card)
    ((failed, *event),) = log.events(FAILED, RETURNED)
    assert event == [FAILED, "gnss", TIMEOUT] and 9_900 <= failed <= 10_500
    assert log.of("fix") == []


@pytest.mark.parametrize("start, end", [(0, 40), (20, 40), (20, 60)])
def test_a_line_whose_driver_raises_is_a_failed_receiver(start, end):
    card = Card()
    board = Board(card)
    board.uart.fault = OSError if start == 0 else None
    logger = boot(board)
    fly(logger, board, start)
    board.uart.fault = OSError
    fly(logger, board, end + 0.5)
    board.uart.fault = None
    fly(logger, board, 60)
    logger.finish()
    log = check(card)
    assert log.device_events() == [(FAILED, "gnss"), (RETURNED, "gnss")][: 1 if end == 60 else 2]
    assert log.messages() == ["GnssTask: OSError(5)"]
    assert len(log.of("motion")) in (600, 605) and strange(log) == []
    assert [record.values["time_of_day"] for record in log.of("fix")] == [*range(start), *range(end, 60)]


def without_a_fix(second):
    """GGA says that there is no fix but still gives the last place; RMC warns; PUBX,00 has no fix (NF)."""
    time = clock_digits(second)
    return (
        sentence(f"GNRMC,{time},V,{PLACE},5.000,90.00,211126,,,N")
        + sentence(f"GNGGA,{time},{PLACE},0,03,9.90,100.0,M,43.5,M,,")
        + sentence(f"PUBX,00,{time},{PLACE},143.5,NF,99,99,9.26,90.00,-12.340,,9.9,9.9,9.9,3,0,0")
    )


def quality_0_but_valid(second):
    """Two sentences that disagree: RMC calls the same place valid."""
    return without_a_fix(second).replace(b",V,", b",A,")


def resummed(sends):
    """The same sentences with right check sums."""
    return lambda second: b"".join(
        sentence(line.decode()[1:].split("*")[0]) for line in sends(second).splitlines()
    )


@pytest.mark.parametrize("says", [without_a_fix, resummed(quality_0_but_valid)])
@pytest.mark.parametrize("backwards", [False, True])
def test_without_a_fix_there_is_no_position_no_height_and_no_vertical_speed(says, backwards):
    def ordered(second):
        lines = says(second).splitlines(keepends=True)
        return b"".join(lines[::-1] if backwards else lines)

    log = flown(ordered)
    fixes = log.of("fix")
    assert len(fixes) == 40 and log.device_events() == []  # a receiver without a fix has not failed
    for record in fixes[20:]:
        assert record.values["quality"] == 0
        for name in ("latitude", "longitude", "height", "vertical_speed"):
            assert record.values[name] is None
        assert record.values["time_of_day"] == record.tick // 1000


def test_with_a_fix_the_vertical_speed_of_pubx_is_logged_upwards():
    def climbing(second):
        return without_a_fix(second).replace(b",V,", b",A,").replace(b"E,0,", b"E,1,").replace(b"NF", b"G3")

    fixes = flown(resummed(climbing)).of("fix")
    # The receiver tells it downwards.
    assert {record.values["vertical_speed"] for record in fixes[20:]} == {12.34}


def is_possible(values):
    def within(name, low, high):
        return values[name] is None or low <= values[name] <= high

    return (
        within("latitude", -90, 90) and within("longitude", -180, 180)
        and within("height", -1000, 100_000) and within("speed", 0, 618) and within("course", 0, 360)
        and within("quality", 0, 9) and within("satellites", 0, 254) and within("time_of_day", 0, 86_401)
        and within("day", 10_957, 47_846)  # 2000-01-01 to 2100-12-31
        and not (values["quality"] == 0 and values["latitude"] is not None)
    )  # fmt: skip


@pytest.mark.parametrize("seed", [1, 2])
def test_noise_on_the_line_never_ends_the_loop_and_gives_no_impossible_value(seed):
    card = Card()
    board = Board(card)
    board.uart.says = hits = Hits(board.has_fix, seed, NOISE)
    logger = boot(board)
    fly(logger, board, 600)
    logger.finish()
    log = check(card)
    assert 0.018 < hits.hit / (600 * len(fix(0, 100))) < 0.022
    assert len(log.of("motion")) == 6000 and len(log.of("air")) == 600
    fixes = log.of("fix")
    assert len(fixes) > 200  # of 1200 sentences about one in four comes through
    assert [record for record in fixes if not is_possible(record.values)] == []
    assert log.messages() == []


def test_every_letter_of_a_sentence_hit_with_a_right_check_sum_gives_no_impossible_value():
    # What the check sum lets through, 1 hit in 256: here each character is replaced and the sum put right.
    replaced = [
        (line, place, new)
        for line in (0, 1) for place in range(6, 70) for new in b",-.09A\x00\xff"
    ]  # fmt: skip

    def hit(second):
        lines = fix(second, 30_000).splitlines()
        line, place, new = replaced[second % len(replaced)]
        body = bytearray(lines[line][1:-3])
        body[min(place, len(body) - 1)] = new
        total = 0
        for byte in body:
            total ^= byte
        lines[line] = b"$" + bytes(body) + b"*%02X" % total
        return b"".join(text + b"\r\n" for text in lines)

    log = flown(hit, seconds=len(replaced))
    fixes = log.of("fix")
    assert len(fixes) > 1.9 * len(replaced)
    assert [record for record in fixes if not is_possible(record.values)] == []
    assert log.messages() == []
