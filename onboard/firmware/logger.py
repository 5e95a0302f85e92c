# The logger: boots and runs its tasks.

from onboard.firmware.events import failure_text
from onboard.firmware.scheduler import Scheduler
from protocol.constant import const
from protocol.tick import tick_difference

_LOOK_MS = const(1000)


class Logger:
    """The whole logger on a board.

    settings: a Settings. board: ticks_ms() in ms modulo protocol.tick.TICK_PERIOD, idle(ms), i2c, uart, adc(role),
    card (block device or None; its calls raise OSError when they fail, so a driver that returns an error must be
    wrapped), reset_cause, free_heap() (bytes or None).

        logger = Logger(settings, board)
        boot = logger.boot()
        while next(boot, None):
            gc.collect()
        while True:
            logger.step()

    The boot comes in steps so that a small heap can be swept between them.
    """

    def __init__(self, settings, board):
        self._settings = settings
        self._board = board
        self.scheduler = Scheduler(board)
        self.idle_ms = 0  # how long the last step slept, 0 if something ran
        self.card_error = None  # why there is no log on the card
        self._at = 0  # tick of the last look at the tasks' health
        self._is_healthy = True
        self.barometer = ""  # its line in the manifest, without calibration words

    def boot(self):
        """Find the log, build the parts, log the manifest. A generator; each step yields True."""
        from onboard.firmware.boot import Boot  # only now: what it needs is let go afterwards

        boot = Boot(self, self._settings, self._board)
        self._settings = None
        return boot.run()

    def tell_words(self, words):
        """Log the barometer's calibration words that the manifest, which is constant in a boot, lacks."""
        self.events.say(self.barometer + " " + " ".join([str(word) for word in words]))

    def task_failed(self, task, error):
        """Log the first failure of a task that it did not expect."""
        task.failures += 1
        if task.failures == 1:
            try:
                self.events.say(failure_text(task, error))
            except MemoryError:
                task.failures = 0  # said another time

    def step(self):
        """Run what is due; if nothing is, sleep until something is."""
        self.idle_ms = wait = self.scheduler.run_due()
        if wait:
            self._board.idle(wait)

    def is_healthy(self):
        """True if every task has run within the time that it is allowed; looked at once a second.

        A sensor that fails is healthy, a task that does not come to its end is not. A watchdog is fed only then.
        """
        now = self._board.ticks_ms()
        if not 0 <= tick_difference(now, self._at) < _LOOK_MS:
            self._at = now
            self._is_healthy = self.scheduler.is_healthy(now)
        return self._is_healthy

    def finish(self):
        """Write what is still in memory, for an orderly end on the bench."""
        self.store.close_now()
        while self.store.waiting:
            before = self.store.waiting
            self.store.write_one(self._board.ticks_ms())
            if self.store.waiting == before and not self.store.is_busy and not self.store.wrote_parity:
                break
