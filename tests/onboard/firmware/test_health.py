"""The watchdog is fed only while every task comes to its end: what counts as healthy, and what does not."""

import pytest
from fault_board import Board, boot, fly
from fault_card import Card


def flown(change=None):
    """A logger 20 s after `change` was made to it in flight, and its board."""
    board = Board(Card())
    logger = boot(board)
    fly(logger, board, 20)
    assert logger.is_healthy()
    if change:
        change(logger, board)
    fly(logger, board, 60)
    return logger


def task(logger, name):
    return next(task for task in logger.scheduler._tasks if type(task).__name__ == name)


def never_ends(now):
    return 20


def raises(now):
    raise ValueError(3)


def far_away(now):
    return 1_000_000


def test_a_logger_whose_tasks_all_run_is_healthy():
    assert flown().is_healthy()


@pytest.mark.parametrize("name", ["MotionTask", "PressureTask", "AirTask", "PowerTask", "CardTask"])
@pytest.mark.parametrize("step", [never_ends, far_away])
def test_a_task_that_never_comes_to_its_end_is_not(name, step):
    assert not flown(lambda logger, board: setattr(task(logger, name), "step", step)).is_healthy()


def test_a_task_that_raises_something_unexpected_is_healthy_but_the_card_task():
    assert flown(lambda logger, board: setattr(task(logger, "MotionTask"), "step", raises)).is_healthy()
    assert not flown(lambda logger, board: setattr(task(logger, "CardTask"), "step", raises)).is_healthy()


def test_failing_sensors_and_a_failing_card_are_healthy():
    def fail(logger, board):
        for chip in (board.barometer, board.humidity, board.motion):
            chip.fail()
        board.card.refuses = board.card.unreadable = lambda number: True

    assert flown(fail).is_healthy()


def test_the_idle_time_is_that_of_the_last_step():
    board = Board(Card())
    logger = boot(board)
    slept = ran = 0
    for _ in range(2000):
        before = board.clock.world_ms()
        logger.step()
        passed = board.clock.world_ms() - before
        if logger.idle_ms:
            slept += 1
            assert logger.idle_ms <= passed <= logger.idle_ms + 1
        else:
            ran += 1
    assert slept > 200 and ran > 200
