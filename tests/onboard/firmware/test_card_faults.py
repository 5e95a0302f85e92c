"""A card that refuses, stalls, fills up; and what the health records tell about it."""

import pytest
from fault_board import DENSE_PARITY, SETTINGS, Board, boot, fly
from fault_card import Card
from fault_read import Log, check, strange

FAILED, RETURNED, LOST, FULL = "device failed", "device returned", "blocks lost", "card full"
ONE_SAMPLE = {"pressure": 5.0, "air": 1.0, "motion": 10.0, "power": 0.2, "health": 0.1}  # samples in a second


def flown(card, until_s, happenings=(), settings=SETTINGS):
    """Fly; happenings: (second, function of the card). Returns (Log, the missed samples not told yet)."""
    board = Board(card)
    logger = boot(board, settings)
    missed = 0
    for second, happens in happenings:
        fly(logger, board, second)
        happens(card)
    fly(logger, board, until_s)
    missed = logger.scheduler.missed
    logger.finish()
    return check(card), missed


def refuse_all(card):
    card.refuses = lambda number: True


def take_again(card):
    card.refuses = card.unreadable = None


def be_gone(card):
    """As a card does whose supply or whose contact is gone: reading fails too."""
    card.refuses = card.unreadable = lambda number: True


def stall(milliseconds):
    return lambda card: setattr(card, "stall_ms", milliseconds)


def gaps(ticks, period):
    """How many samples of a period are missing between these ticks."""
    return sum(round((b - a) / period) - 1 for a, b in zip(ticks, ticks[1:], strict=False))


@pytest.mark.parametrize("fails", [refuse_all, be_gone])
@pytest.mark.parametrize("settings", [SETTINGS, DENSE_PARITY], ids=["", "dense parity"])
def test_a_card_that_fails_for_30_s_loses_what_the_queue_cannot_hold_and_says_so(fails, settings):
    log, missed = flown(Card(), 120, [(40, fails), (70, take_again)], settings)
    failed, returned, lost = log.events(FAILED, RETURNED, LOST)
    assert failed[1:] == (FAILED, "card", 5) and 40_000 < failed[0] < 43_000
    assert returned[1:3] == (RETURNED, "card") and 70_000 < returned[0] < 72_000
    assert 28 <= returned[3] <= 31  # it was tried once a second
    assert lost[1:3] == (LOST, "card") and missed == 0
    # What is missing is as many blocks as the event says: the quiet ones hold as many records each.
    quiet = [header for header in log.blocks if 10_000 < header["tick"] < 40_000]
    records = [r for r in log.of("motion") if quiet[0]["tick"] <= r.tick < quiet[-1]["tick"]]
    a_block = len(records) / (len(quiet) - 1)
    assert abs(gaps([r.tick for r in log.of("motion")], 100) - lost[3] * a_block) <= a_block
    assert lost[3] >= 8 and strange(log) == []
    # The gap is one, and what was sampled when the card began to refuse is there.
    ticks = [r.tick for r in log.of("motion")]
    (begin,) = [a for a, b in zip(ticks, ticks[1:], strict=False) if b - a > 150]
    assert 47_500 < begin < 56_000


@pytest.mark.parametrize("fails", [refuse_all, be_gone])
@pytest.mark.parametrize("settings", [SETTINGS, DENSE_PARITY], ids=["", "dense parity"])
def test_a_card_that_fails_for_5_s_loses_nothing(fails, settings):
    log, missed = flown(Card(), 60, [(20, fails), (25, take_again)], settings)
    assert log.device_events() == [(FAILED, "card"), (RETURNED, "card")]
    assert log.events(LOST) == [] and missed == 0
    assert len(log.of("motion")) == 600 and len(log.of("fix")) == 60 and strange(log) == []


@pytest.mark.parametrize("settings, bad", [
    (SETTINGS, 20), (DENSE_PARITY, 21), (DENSE_PARITY, 28), (DENSE_PARITY, 29)  # the last two are of parity
])
def test_a_sector_that_refuses_for_ever_is_left_out_and_nothing_is_lost(settings, bad):
    card = Card()
    card.refuses = lambda number: number == card.start + bad
    log, missed = flown(card, 90, settings=settings)
    failed, returned = log.events(FAILED, RETURNED)
    assert (failed[3], returned[3]) == (5, 3) and log.events(LOST) == [] and missed == 0
    assert sorted(card.log) == [place for place in range(max(card.log) + 1) if place != bad]
    assert len(log.of("motion")) == 900 and len(log.of("fix")) == 90


class Doubtful(Card):
    """Writes, and says that it did not."""

    doubts = False

    def writeblocks(self, number, buffer):
        Card.writeblocks(self, number, buffer)
        if self.doubts:
            raise OSError(5)


def test_a_block_of_which_the_card_denies_the_writing_is_written_again_elsewhere():
    card = Doubtful()
    board = Board(card)
    logger = boot(board)
    fly(logger, board, 30)
    card.doubts = True
    fly(logger, board, 34)
    card.doubts = False
    fly(logger, board, 60)
    logger.finish()
    log = Log(card)
    assert card.written_over == 0 and log.whole == len(card.log) == max(card.log) + 1
    numbers = [header["number"] for header in log.blocks]
    assert sorted(set(numbers)) == list(range(max(numbers) + 1)) and len(numbers) > len(set(numbers))
    assert len({record.tick for record in log.of("motion")}) == 600


def test_a_card_that_refuses_for_ever_stops_the_log_and_nothing_else():
    card = Card()
    board = Board(card)
    logger = boot(board)
    fly(logger, board, 30)
    refuse_all(card)
    fly(logger, board, 300)
    assert logger.scheduler.missed == 0 and logger.store.lost > 100
    asked = board.motion.answers
    fly(logger, board, 310)
    # Set and read: 100 of motion; for each of 2 readings of the thermometer also the sleep bit.
    assert board.motion.answers - asked == 2 * 100 + 4 * 2
    last = max(record.tick for record in check(card).records)
    assert 27_000 < last < 30_000  # no more than the open block and one that waited are not on the card


@pytest.mark.parametrize("settings, sectors", [
    (SETTINGS, 60), (SETTINGS, 176), *((DENSE_PARITY, sectors) for sectors in range(60, 70))
])
def test_a_full_card_says_so_while_it_can_and_stops_the_log_and_nothing_else(settings, sectors):
    card = Card(log_sectors=sectors)
    board = Board(card)
    logger = boot(board, settings)
    fly(logger, board, 400)
    assert logger.scheduler.missed == 0
    log = check(card)
    assert len(card.log) == sectors
    assert [event[1:3] for event in log.events(FULL)] == [(FULL, "card")]
    assert log.device_events() == []
    assert gaps([record.tick for record in log.of("motion")], 100) == 0


# Where the last sector is parity, the last thing that was written is no block that waited.
@pytest.mark.parametrize("sectors", [59, 60, 61])
def test_an_orderly_end_comes_to_its_end_on_a_full_card(sectors):
    card = Card(log_sectors=sectors)
    board = Board(card)
    logger = boot(board, DENSE_PARITY)
    fly(logger, board, 120)
    assert len(card.log) == sectors
    board.looks_left = 1000
    logger.finish()
    assert len(card.log) == sectors


@pytest.mark.parametrize("stall_ms", [300, 700])
def test_what_a_slow_card_costs_is_counted(stall_ms):
    seconds = 118.35  # the last health record is at 110 s, what is missed later the scheduler still holds
    log, later = flown(Card(), seconds, [(0, stall(stall_ms))])
    health = [record.values for record in log.of("health")]
    told = sum(values["missed_samples"] for values in health)
    counts = log.counts()
    gone = sum(round(seconds * rate + 0.5) - counts[kind] for kind, rate in ONE_SAMPLE.items())
    assert told > 50 and abs(gone - (told + later)) <= 2
    assert log.events(LOST) == [] and log.device_events() == []
    assert all(stall_ms + 3 <= 1000 * values["write_time_slowest"] < stall_ms + 12 for values in health[1:])


def test_one_stall_is_in_one_health_record_and_the_next_begins_anew():
    health = flown(Card(), 60, [(25, stall(1500)), (28, stall(0))])[0].of("health")
    told = [(r.tick // 10_000, r.values["missed_samples"], r.values["write_time_slowest"]) for r in health]
    (before, missed, slowest), *after = [entry for entry in told if entry[0] >= 3]
    assert missed > 10 and 1.5 <= slowest < 1.52
    assert [entry[1] for entry in told if entry[0] != 3] == [0] * (len(told) - 1)
    assert all(entry[2] < 0.02 for entry in told if entry[0] != 3) and after


def test_refusals_are_in_one_health_record_and_the_next_begins_anew():
    log, _ = flown(Card(), 60, [(21, refuse_all), (25, take_again)])
    told = [(r.tick // 10_000, r.values["card_errors"]) for r in log.of("health")]
    assert told == [(0, 0), (1, 0), (2, 0), (3, log.events(RETURNED)[0][3]), (4, 0), (5, 0)]


def test_health_tells_how_many_blocks_wait():
    log, _ = flown(Card(), 60, [(15, refuse_all), (21, take_again)])
    fill = [record.values["queue_fill"] for record in log.of("health")]
    assert fill[2] >= 2 and fill[3:] == [0, 0, 0]
