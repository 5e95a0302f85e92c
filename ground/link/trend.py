"""How fast a height changes, from the last readings of it."""

from collections import deque

SPAN_MS = 20_000  # readings older than this against the newest are forgotten
SPARSE_MS = 150_000  # but two are kept, if they are no further apart: those of a slow beacon
ENOUGH_MS = 3_000  # a rate over less than this would be noise


class Trend:
    """The latest readings of a height, and the rate between the first and the last of them."""

    def __init__(self):
        self._readings = deque()

    def add(self, tick_ms, height_m):
        """Take a reading; one that is not later than the newest starts afresh (a new boot)."""
        if self._readings and tick_ms <= self._readings[-1][0]:
            self._readings.clear()
        self._readings.append((tick_ms, height_m))
        while tick_ms - self._readings[0][0] > (SPAN_MS if len(self._readings) > 2 else SPARSE_MS):
            self._readings.popleft()

    def rate_m_s(self):
        """Give the rate, m/s, upwards positive; None as long as the readings span too little."""
        if not self._readings:
            return None
        (first_ms, first_m), (last_ms, last_m) = self._readings[0], self._readings[-1]
        if last_ms - first_ms < ENOUGH_MS:
            return None
        return (last_m - first_m) * 1000 / (last_ms - first_ms)
