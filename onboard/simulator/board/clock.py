# Time on the virtual board. It goes on only when something takes time, by amounts that are the same on
# every interpreter, so that a flight is repeated to the byte.

from protocol.tick import TICK_MASK


class Clock:
    """Time since the start of the tape, and the board's tick that drifts against it.

    drift_ppm: by how much the board's crystal runs fast, in millionths; world_ms, tick: what the two show at
    power-on.
    """

    def __init__(self, drift_ppm, world_ms=0, tick=0):
        self._drift_ppm = drift_ppm
        self._world_ms = world_ms
        self._tick = tick
        self._us = 0
        self._ms = 0  # on the board's crystal

    def spend_us(self, microseconds):
        """Let some time go by."""
        self._us += microseconds
        if self._us >= 1000:
            self._ms += self._us // 1000
            self._us %= 1000

    def tick(self):
        """The board's tick."""
        return (self._tick + self._ms) & TICK_MASK

    def world_ms(self):
        """Real time since the start of the tape, in ms."""
        # Parts per million of whole seconds keep the product small on a 32-bit interpreter.
        return self._world_ms + self._ms - self._ms // 1000 * self._drift_ppm // 1000
