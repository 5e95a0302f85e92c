# The scheduler: every task says when it wants to go on; nothing ever waits for a sensor.

from protocol.constant import const
from protocol.tick import tick_add, tick_difference

_IDLE_MAX_MS = const(20)  # the longest sleep
_LATE_MS = const(5000)  # a task that is this late, after twice its period, is not running
_HALF = const(1 << 28)  # what tick_difference and tick_add compute stands here once more, because a call is dear
_MASK = const((1 << 29) - 1)


class Task:
    """Something that is done every `period` ms, in one or more steps.

    A subclass has step(now): it does one step and returns the ms after which the next step of the same
    sample is due, or 0 when the sample is finished.
    """

    is_sampling = True  # False if nothing is missed when a turn is left out
    is_vital = False  # True if all is lost while its steps fail in a way that the task did not expect

    def __init__(self, period):
        self.period = period
        self.failures = 0  # steps that failed in a way that the task did not expect
        self.due = 0  # tick of the next step
        self.start = 0  # tick at which the running sample was due
        self.done = 0  # tick at which the last sample was finished

    def begin(self, now):
        """Set the first sample for this tick."""
        self.due = now
        self.start = now
        self.done = now


class Scheduler:
    """Runs the task that is due first."""

    def __init__(self, board):
        self._board = board
        self._tasks = []
        self._first = None  # the task that is due first
        self.missed = 0
        self.on_failure = None  # called with (task, exception) when a step fails in a way that it did not expect

    def add(self, task, delay):
        """Let a task run, its first sample so many ms from now."""
        now = self._board.ticks_ms()
        task.begin(tick_add(now, delay))
        self._tasks.append(task)
        self._choose(now)

    # MicroPython takes the frame of a function with more than eleven locals and stack words from the heap, which is
    # dear: so these are kept small, and what catches exceptions, which needs more, is apart.

    def _choose(self, now):
        self._first = None
        least = _MASK + 1
        for task in self._tasks:
            wait = (task.due - now + _HALF) & _MASK
            if wait < least:
                least = wait
                self._first = task

    def run_due(self):
        """Run the most overdue task. Returns ms until the next one is due, 0 if one ran."""
        now = self._board.ticks_ms()
        task = self._first
        if task is None:
            return _IDLE_MAX_MS
        wait = ((task.due - now + _HALF) & _MASK) - _HALF
        if wait > 0:
            return wait if wait < _IDLE_MAX_MS else _IDLE_MAX_MS
        wait = self._step(task, now)
        now = self._board.ticks_ms()
        if wait > 0:
            task.due = (now + wait) & _MASK  # from the end of the step: a chip's conversion began somewhere in it
        else:
            if wait == 0:
                task.done = now
            self._next_sample(task, now)
        self._choose(now)
        return 0

    def _step(self, task, now):
        # Returns what the task's step returns, -1 if it failed and that is grave.
        try:
            return task.step(now)
        except Exception as error:  # whatever it is, the other tasks go on, and this one with its next sample
            if self.on_failure is not None:
                self.on_failure(task, error)
            return -1 if task.is_vital else 0

    def _next_sample(self, task, now):
        start = (task.start + task.period) & _MASK
        late = ((now - start + _HALF) & _MASK) - _HALF
        if late >= task.period // 2:
            # The times of these samples went by. They are not taken now in a row: one that is half a period
            # late stands for its neighbour.
            periods = late // task.period + 1
            if task.is_sampling:
                self.missed += periods
            start = (start + periods * task.period) & _MASK
        task.start = start
        task.due = start

    def is_healthy(self, now):
        """True if every task finished its last sample within the time that it is allowed."""
        for task in self._tasks:
            if tick_difference(now, task.done) > 2 * task.period + _LATE_MS:
                return False
        return True
