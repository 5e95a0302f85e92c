# The budget of air time that a transmitter may use.

from protocol.constant import const
from protocol.tick import tick_difference

SAVED_BYTES = const(250)  # what may be saved up: the longest packet, and the beacon after it
_BYTE_BITS = const(10)  # on the line: start, eight, stop
_HOUR_S = const(3600)
_STEP_MAX_MS = const(1000)  # keeps the products small; time beyond it is given away


class AirTime:
    """A budget that holds in every hour, wherever it begins: a share of the time, and no more.

    baud: of the modem, 1200 or more; duty_permille: the share, 1 to 1000.

    What is not used is saved up, but only so far, and the share is made less by as much, so that an hour that
    begins with savings has no more than its due. Nothing is saved at the start, so that resets add nothing.
    """

    def __init__(self, baud, duty_permille):
        self.byte_us = -(-_BYTE_BITS * 1000000 // baud)
        self._most_us = SAVED_BYTES * self.byte_us
        # In millionths; a thousandth less than the share, because the board's clock may run fast.
        self._share = duty_permille * 999 - self._most_us // _HOUR_S - 1
        self._saved_us = 0
        self._tick = None

    def go_on(self, now):
        """Save up for the time since the last call; call it at least once a second."""
        if self._tick is not None:
            elapsed = min(tick_difference(now, self._tick), _STEP_MAX_MS)
            self._saved_us = min(self._saved_us + elapsed * self._share // 1000, self._most_us)
        self._tick = now

    def allows(self, size):
        """True if so many bytes may be sent now."""
        return size * self.byte_us <= self._saved_us

    def take(self, size):
        """Pay for bytes that are sent."""
        self._saved_us -= size * self.byte_us
