"""The scheduler: rates are kept, nobody waits, and what was missed is counted."""

from onboard.firmware.scheduler import Scheduler, Task
from protocol.tick import TICK_PERIOD, tick_add


class Board:
    def __init__(self, now=0):
        self.now = now

    def ticks_ms(self):
        return self.now

    def idle(self, milliseconds):
        self.now = tick_add(self.now, milliseconds)


class Note(Task):
    """Notes when it ran; takes `busy` ms of the board's time."""

    def __init__(self, period, board, busy=0, steps=1):
        Task.__init__(self, period)
        self.board = board
        self.busy = busy
        self.steps = steps
        self.left = 0
        self.at = []

    def step(self, now):
        self.board.idle(self.busy)
        if self.left == 0:
            self.at.append(now)
            self.left = self.steps
        self.left -= 1
        return 10 if self.left else 0


def run(scheduler, board, milliseconds):
    passed = 0
    while passed < milliseconds:
        wait = scheduler.run_due()
        board.idle(wait)
        passed += wait
        assert 0 <= wait <= 20


def test_each_task_keeps_its_own_rate_without_drift():
    board = Board()
    scheduler = Scheduler(board)
    fast, slow = Note(100, board), Note(1000, board, steps=3)
    scheduler.add(fast, 0)
    scheduler.add(slow, 7)
    run(scheduler, board, 60_000)
    assert fast.at[:600] == list(range(0, 60_000, 100))
    assert slow.at[:60] == list(range(7, 60_007, 1000))
    assert scheduler.missed == 0


def test_samples_that_a_stall_swallowed_are_counted_and_not_caught_up():
    board = Board()
    scheduler = Scheduler(board)
    task = Note(100, board)
    scheduler.add(task, 0)
    run(scheduler, board, 1000)
    board.idle(350)  # the card stalls
    run(scheduler, board, 1000)
    gaps = {later - earlier for earlier, later in zip(task.at, task.at[1:])}
    assert min(gaps) >= 50 and max(gaps) <= 450
    assert scheduler.missed == 3


def test_rates_go_on_across_the_end_of_the_clock():
    board = Board(TICK_PERIOD - 550)
    scheduler = Scheduler(board)
    task = Note(100, board)
    scheduler.add(task, 0)
    run(scheduler, board, 2000)
    assert task.at[:8] == [(TICK_PERIOD - 550 + 100 * i) % TICK_PERIOD for i in range(8)]
    assert scheduler.missed == 0
