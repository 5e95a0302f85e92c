"""Booting and booting again: where the log goes on, under which number, and in which phase."""

import random

import pytest
from fault_board import DENSE_PARITY, SETTINGS, Board, boot, fly
from fault_card import ZEROS, Card
from fault_read import Log, check

FULL_SIZE = 60_000  # sectors: a log of 30 MB
OTHER_FLIGHT = SETTINGS.replace("5f3a1c22", "0badcafe")
AFTER_MAGIC = 4  # a torn write begins like a block

# A short flight: it leaves at 20 s, bursts at 70 s, is down at 125 s. A reset in the middle of each phase.
RESETS_S = {"waiting": 15, "climbing": 60, "falling": 110, "landed": 230}


def height_m(second):
    if second < 20:
        return 100
    if second < 70:
        return 100 + 20 * (second - 20)
    return max(100, 1100 - 18 * (second - 70))


def later(second):
    """The same flight for a board that is switched on in the middle of it."""
    return lambda since: height_m(second + since)


def flown(card, until_s, settings=SETTINGS, heights=height_m):
    """Fly until the power goes, without an orderly end."""
    board = Board(card, heights)
    fly(boot(board, settings), board, until_s)
    return dict(card.log)


def kept(before, card):
    """True if everything that stood on the card before still does."""
    return all(card.log[place] == block for place, block in before.items())


def test_on_an_empty_card_the_first_boot_waits_on_the_ground():
    card = Card()
    flown(card, 15)
    log = check(card)
    assert log.boots() == [1] and log.phases(1) == ["waiting"]
    assert [header["flight"] for header in log.blocks] == ["5f3a1c22"] * len(log.blocks)
    found = [event[1:] for event in log.events("booted", "phase changed")]
    assert found == [("booted", 1, 0), ("phase changed", "waiting", 0)]


@pytest.mark.parametrize("phase", RESETS_S)
def test_after_a_reset_the_next_boot_goes_on_in_the_same_phase(phase):
    card, second = Card(), RESETS_S[phase]
    before = flown(card, second)
    flown(card, 12, heights=later(second))
    log = check(card)
    assert log.boots() == [1, 2] and kept(before, card)
    assert log.phases(1)[-1] == phase and log.phases(2) == [phase]
    assert len({header["flight"] for header in log.blocks}) == 1
    booted, told = log.events("booted", "phase changed", boot=2)
    assert booted[1:] == ("booted", 1, len(before)) and told[1:] == ("phase changed", phase, 0)
    # Between the last block before the reset and the first one after it no sector is left out.
    assert sorted(card.log) == list(range(len(card.log)))


def test_resets_in_every_phase_leave_one_flight_of_five_boots():
    card, second = Card(), 0
    for until in (15, 60, 110, 230, 260):
        flown(card, until - second, heights=later(second))
        second = until
    log = check(card)
    assert log.boots() == [1, 2, 3, 4, 5]
    assert [log.phases(number)[-1] for number in log.boots()] == [*RESETS_S, "landed"]


def test_a_card_with_another_flight_begins_with_boot_1_on_the_ground():
    card = Card()
    before = flown(card, 110, settings=OTHER_FLIGHT)
    flown(card, 12)
    log = check_two_flights(card, before)
    ours = [header for header in log.blocks if header["flight"] == "5f3a1c22"]
    assert {header["boot"] for header in ours} == {1} and {header["phase"] for header in ours} == {0}


def test_a_flight_goes_on_behind_the_blocks_of_another_one():
    card = Card()
    flown(card, 60)
    before = flown(card, 12, settings=OTHER_FLIGHT)
    flown(card, 12, heights=later(60))
    log = check_two_flights(card, before)
    last = log.blocks[-1]
    assert (last["flight"], last["boot"], last["phase"]) == ("5f3a1c22", 2, 1)


def check_two_flights(card, before):
    log = Log(card)
    assert card.written_over == 0 and log.whole == len(card.log) and kept(before, card)
    assert {header["flight"] for header in log.blocks} == {"5f3a1c22", "0badcafe"}
    return log


@pytest.mark.parametrize("torn", [1, 3, 9])
def test_the_last_writes_torn_the_next_boot_goes_on_behind_them(torn):
    card, draw = Card(), random.Random(torn)
    flown(card, 60)
    places = sorted(card.log)[-torn:]
    for place in places:
        end = draw.randrange(AFTER_MAGIC, 500)
        card.log[place] = card.log[place][:end] + draw.randbytes(512 - end)
    before = dict(card.log)
    flown(card, 12, heights=later(60))
    log = Log(card)
    assert card.written_over == 0 and kept(before, card) and log.whole == len(card.log) - torn
    assert log.boots() == [1, 2] and log.phases(2) == ["climbing"]


@pytest.mark.parametrize("dead", [1, 3])
def test_the_last_sectors_unreadable_the_next_boot_goes_on_behind_them(dead):
    card = Card()
    before = flown(card, 60)
    places = [card.start + place for place in sorted(card.log)[-dead:]]
    card.unreadable = lambda number: number in places
    flown(card, 12, heights=later(60))
    log = check(card)
    assert log.boots() == [1, 2] and kept(before, card) and log.phases(2) == ["climbing"]


def test_a_hole_in_the_log_does_not_end_it():
    # What the card lost just where the search for the end first looks, with only three blocks behind it.
    card = Card()
    flown(card, 180)
    log_of_92 = {place: block for place, block in card.log.items() if place < 92}
    assert len(log_of_92) == 92
    card.log = {place: block for place, block in log_of_92.items() if not 50 <= place < 89}
    before = dict(card.log)
    flown(card, 12, heights=later(180))
    assert kept(before, card) and card.written_over == 0
    assert min(set(card.log) - set(before)) == 92
    assert Log(card).boots() == [1, 2]


def test_one_failed_reading_at_the_boot_changes_nothing():
    card = Card(FULL_SIZE)
    before = flown(card, 60)
    card.reads = 0
    boot(Board(card, later(60)))
    wrong = []
    for failing in range(1, card.reads + 1):
        card.log, card.reads = dict(before), 0
        card.unreadable = lambda number, failing=failing: card.reads == failing
        flown(card, 4, heights=later(60))
        log = Log(card)
        left_out = max(card.log) + 1 - len(card.log)
        if log.boots() != [1, 2] or log.phases(2) != ["climbing"] or left_out > 2 or not kept(before, card):
            wrong.append((failing, log.boots(), log.phases(log.boots()[-1]), left_out))
    assert wrong == []


def test_a_card_that_is_out_for_a_moment_changes_nothing_wherever_the_boot_stands():
    # Dead sectors are passed over; a card that fails as a whole must not pass for dead sectors.
    card = Card(FULL_SIZE)
    before = flown(card, 60)
    card.reads = 0
    boot(Board(card, later(60)))
    wrong = []
    for last in range(1, card.reads + 1):
        card.log, card.reads = dict(before), 0
        card.unreadable = lambda number, last=last: card.reads > last and card.clock.world_ms() < 100
        flown(card, 4, heights=later(60))
        log = Log(card)
        if log.boots() != [1, 2] or log.phases(2) != ["climbing"] or not kept(before, card):
            wrong.append((last, log.boots()))
    assert wrong == []


@pytest.mark.parametrize("dead", [FULL_SIZE // 2, FULL_SIZE // 2 + 1, 5000])
def test_a_dead_sector_in_the_empty_part_of_the_log_changes_nothing(dead):
    card = Card(FULL_SIZE)
    before = flown(card, 60)
    card.unreadable = lambda number: number == card.start + dead
    flown(card, 4, heights=later(60))
    log = check(card)
    assert log.boots() == [1, 2] and log.phases(2) == ["climbing"] and kept(before, card)
    assert sorted(card.log) == list(range(len(card.log)))


def chips_asked(card):
    """How often each chip was asked in ten seconds."""
    board = Board(card)
    logger = boot(board)
    fly(logger, board, 10)
    before = [chip.answers for chip in (board.barometer, board.humidity, board.motion)]
    fly(logger, board, 20)
    assert logger.scheduler.missed == 0
    after = [chip.answers for chip in (board.barometer, board.humidity, board.motion)]
    return [b - a for a, b in zip(before, after, strict=True)], logger.store.lost


class Blank(Card):
    """A card without a file system."""

    def readblocks(self, number, buffer):
        buffer[:] = ZEROS


def dead_card():
    card = Card()
    card.unreadable = card.refuses = lambda number: True
    return card


@pytest.mark.parametrize("card", [None, Blank(), dead_card()], ids=["absent", "not FAT", "dead"])
def test_without_a_usable_card_the_sampling_goes_on(card):
    asked, lost = chips_asked(card)
    assert asked == chips_asked(Card())[0] and lost > 0
    assert card is None or card.log == {}


@pytest.mark.parametrize("flown_s", [15, 20])  # at 20 s the place of the next block is one of parity
def test_a_card_that_dies_during_the_boot_stops_neither_the_boot_nor_the_sampling(flown_s):
    card = Card()
    before = flown(card, flown_s, DENSE_PARITY)
    card.reads = 0
    boot(Board(card), DENSE_PARITY)
    for last in range(card.reads + 1):
        card.log, card.reads = dict(before), 0
        card.unreadable = card.refuses = lambda number, last=last: card.reads > last
        board = Board(card)
        board.looks_left = 1000
        logger = boot(board, DENSE_PARITY)
        fly(logger, board, 2)
        assert board.motion.answers >= 30
        assert kept(before, card) and card.written_over == 0


def test_a_full_card_is_left_as_it_is():
    card = Card(log_sectors=40)
    before = flown(card, 120)
    assert len(before) == 40
    flown(card, 10, heights=later(120))
    assert card.log == before and card.written_over == 0
