"""Keep a replay in step with the clock of the flight."""

import time


class Pace:
    """Waits until a moment of the flight is due.

    speed: seconds of the flight a second; 0 never waits.
    Each wait aims at a moment counted from the start, so that what one wait is late by does not
    add up. clock and sleep can be replaced, for tests.
    """

    def __init__(self, speed, clock=time.monotonic, sleep=time.sleep):
        self._speed = speed
        self._clock = clock
        self._sleep = sleep
        self.restart(0)

    def restart(self, tick_ms):
        """Begin to count: this tick is now."""
        self._start_s = self._clock()
        self._first_ms = tick_ms

    def wait_for(self, tick_ms):
        """Sleep until this tick is due; return at once if it is over."""
        if self._speed == 0:
            return
        ahead_s = self._start_s + (tick_ms - self._first_ms) / 1000 / self._speed - self._clock()
        if ahead_s > 0:
            self._sleep(ahead_s)
