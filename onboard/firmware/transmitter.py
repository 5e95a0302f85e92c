# Hands packets to a modem on a UART, piece by piece, so that the logger never waits for it.

from onboard.firmware.tasks import Device
from protocol.constant import const
from protocol.tick import tick_difference

_PIECE = const(32)  # bytes at once: no more than the buffer of any driver has room for
_BLOCKED_MS = const(100)  # a write that takes longer held up the whole logger
_FULL_MS = const(50)  # how long a full driver is given before it is asked again
_FULL_TRIES = const(40)
_RETRY_MS = const(30000)  # pause after a failure
_TIMEOUT = OSError(110)  # ETIMEDOUT; made once, since raising would allocate


class Transmitter:
    """Sends what stands in a buffer through board.downlink.

    byte_us: what a byte takes on the air. Set `size` to begin a packet of that many bytes; it is 0 again when
    the packet is out or given up.
    """

    def __init__(self, board, buffer, byte_us, events):
        self._buffer = buffer
        self._byte_us = byte_us
        self._board = board
        self._device = Device("downlink", events)
        self.size = 0
        self._sent = 0
        self._full = 0  # how often in a row the driver took nothing
        self._failed_at = None

    def is_ready(self, now):
        """False for a while after a failure."""
        if self._failed_at is not None and tick_difference(now, self._failed_at) >= _RETRY_MS:
            self._failed_at = None
        return self._failed_at is None

    def go_on(self, now):
        """Give the driver the next piece. Returns ms until it has sent it, 0 when that was all."""
        board = self._board
        try:
            before = board.ticks_ms()
            taken = board.downlink.write(self._buffer, self._sent, min(self.size - self._sent, _PIECE))
            if tick_difference(board.ticks_ms(), before) > _BLOCKED_MS:
                return self._fail(_TIMEOUT, now)
        except OSError as error:
            return self._fail(error, now)
        if not taken:
            self._full += 1
            return self._fail(_TIMEOUT, now) if self._full == _FULL_TRIES else _FULL_MS
        self._full = 0
        self._sent += taken
        if self._sent < self.size:
            return taken * self._byte_us // 1000 + 1
        self._end()
        self._device.works()
        return 0

    def _end(self):
        self.size = self._sent = self._full = 0

    def _fail(self, error, now):
        self._end()
        self._failed_at = now
        self._device.failed(error)
        return 0
