# The scheduler: every task says when it wants to go on; nothing ever waits for a sensor.

from protocol.constant import const
from protocol.tick import tick_add, tick_difference

_IDLE_MAX_MS = const(20)  # the longest sleep


class Task:
    """Something that is done every `period` ms, in one or more steps.

    A subclass has step(now): it does one step and returns the ms after which the next step of the same
    sample is due, or 0 when the sample is finished.
    """

    is_sampling = True  # False if nothing is missed when a turn is left out

    def __init__(self, period):
        self.period = period
        self.failures = 0  # steps that failed in a way that the task did not expect
        self.due = 0  # tick of the next step
        self.start = 0  # tick at which the running sample was due

    def begin(self, now):
        """Set the first sample for this tick."""
        self.due = now
        self.start = now


class Scheduler:
    """Runs the task that is due first."""

    def __init__(self, board):
        self._board = board
        self._tasks = []
        self.missed = 0
        self.on_failure = None  # called with (task, exception) when a step fails in a way that it did not expect

    def add(self, task, delay):
        """Let a task run, its first sample so many ms from now."""
        task.begin(tick_add(self._board.ticks_ms(), delay))
        self._tasks.append(task)

    def run_due(self):
        """Run the most overdue task. Returns ms until the next one is due, 0 if one ran."""
        now = self._board.ticks_ms()
        first = None
        least = _IDLE_MAX_MS
        for task in self._tasks:
            wait = tick_difference(task.due, now)
            if wait < least:
                least = wait
                first = task
        if first is None or least > 0:
            return least
        try:
            wait = first.step(now)
        except Exception as error:  # whatever it is, the other tasks go on, and this one with its next sample
            wait = 0
            if self.on_failure is not None:
                self.on_failure(first, error)
        if wait:
            # From the end of the step: a chip's conversion began somewhere in it.
            first.due = tick_add(self._board.ticks_ms(), wait)
        else:
            self._next_sample(first)
        return 0

    def _next_sample(self, task):
        start = tick_add(task.start, task.period)
        late = tick_difference(self._board.ticks_ms(), start)
        if late >= task.period // 2:
            # The times of these samples went by. They are not taken now in a row: one that is half a period
            # late stands for its neighbour.
            periods = late // task.period + 1
            if task.is_sampling:
                self.missed += periods
            start = tick_add(start, periods * task.period)
        task.start = start
        task.due = start
