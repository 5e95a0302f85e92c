"""A card that is not there at power-on is looked for again; the log begins then where the last boot left it."""

import pytest
from fault_board import SETTINGS, Board, boot, fly
from fault_card import Card
from fault_read import check, strange

SECONDS = 60


def gone(number):
    return True


def climb(second):
    return 100 + 5 * second


def flown(card, until_s, back_s=None, height_m=lambda second: 100):
    """Fly; the card is not there at power-on if it is to come back at back_s. Returns (logger, sectors read a step)."""
    board = Board(card, height_m)
    card.unreadable = gone if back_s else None
    logger = boot(board)
    most = 0
    end = False
    while board.clock.world_ms() < 1000 * until_s:
        if back_s and not end and board.clock.world_ms() >= 1000 * back_s:
            card.unreadable = None
            end = True
        before = card.reads
        logger.step()
        most = max(most, card.reads - before)
    logger.finish()
    return logger, most


@pytest.mark.parametrize("back_s", [3, 12, 31])
def test_a_card_that_comes_late_is_found_and_the_log_begins(back_s):
    card = Card()
    logger, _ = flown(card, SECONDS, back_s)
    assert logger.scheduler.missed == 0 and logger.card_error is None
    log = check(card)
    first = log.records[0].tick
    assert first - 1000 * back_s < 11_000  # it is looked for every 10 s
    for kind, period in (("motion", 100), ("pressure", 200), ("air", 1000)):
        ticks = [record.tick for record in log.of(kind)]
        assert ticks[0] - first < 2 * period and len(ticks) >= (1000 * SECONDS - first) // period - 1
    assert strange(log) == []
    assert [event[1:3] for event in log.events("booted", "device returned")] == [
        ("booted", 1), ("device returned", "card")
    ]  # fmt: skip
    lost = log.events("blocks lost")
    assert len(lost) == 1 and lost[0][3] >= back_s // 2


def test_the_boot_that_began_without_a_card_has_its_number_and_phase_from_the_log():
    card = Card()
    board = Board(card, climb)
    logger = boot(board)
    fly(logger, board, 60)
    logger.finish()
    before = dict(card.log)
    logger, _ = flown(card, SECONDS, 5, climb)
    log = check(card)
    assert {place: card.log[place] for place in before} == before
    assert log.boots() == [1, 2] and log.phases(2)[0] == log.phases(1)[-1] != "waiting"
    first, second = log.manifest(1), log.manifest(2)
    assert "\nboot 1\n" in first and "\nboot 2\n" in second
    assert first.split("\n")[6:-2] == second.split("\n")[6:-2]


def test_looking_for_the_card_holds_up_no_sample():
    card = Card(log_sectors=60_000)
    flown(card, 20)
    logger, most = flown(card, SECONDS, 15)
    assert logger.scheduler.missed == 0 and most <= 40


def test_a_card_that_never_comes_is_looked_for_on_and_on_and_the_logger_is_healthy():
    card = Card()
    board = Board(card)
    card.unreadable = gone
    logger = boot(board, SETTINGS)
    reads = card.reads
    fly(logger, board, SECONDS)
    assert 5 <= card.reads - reads <= 12 and not card.log
    assert logger.is_healthy() and logger.scheduler.missed == 0 and logger.card_error is not None
