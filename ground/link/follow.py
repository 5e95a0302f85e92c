"""Listen to a port: keep every byte, then understand what can be understood."""

import time

from ground.errors import LoftbookError
from ground.layout import OWN_KINDS
from ground.link.live import Live
from ground.link.status import status_line
from ground.link.stream import EndOfStream
from ground.recover.packets import PacketFinder

LINE_EVERY_S = 1.0


class Follower:
    """Keeps the bytes of a link in a capture file and what they say in `live`.

    capture: a binary file opened for writing; clock: gives the listener's time in s.
    """

    def __init__(self, capture, clock=time.monotonic):
        self.live = Live()
        self.packets = 0
        self.bytes = 0
        self._capture = capture
        self._clock = clock
        self._kinds = self.live.kinds
        self._finder = PacketFinder((self._kinds,))
        self._in_packets = 0
        self._last_packet_s = clock()
        self._noise = False

    @property
    def not_understood(self):
        """Bytes that belong to no packet, so far."""
        return self.bytes - self._in_packets

    def take(self, data):
        """Keep the bytes, then look for packets in them. Raises OSError if they cannot be kept."""
        # First to the file: whatever goes wrong afterwards, the bytes are there for recovery.
        self._capture.write(data)
        self._capture.flush()
        self.bytes += len(data)
        self._noise = True
        for packet in self._finder.feed(data):
            now_s = self._clock()
            self.packets += 1
            self._in_packets += packet.length
            self._last_packet_s = now_s
            self._noise = False
            self.live.take(packet, now_s)
        if self.live.kinds != self._kinds:
            # A manifest with kinds of its own has come: look for them from now on. Up to one packet that
            # is half here may be missed; the capture has it.
            self._kinds = self.live.kinds
            self._finder = PacketFinder((OWN_KINDS, self._kinds), self.bytes)

    def line(self):
        """Say what is known now."""
        now_s = self._clock()
        silent_s = now_s - self._last_packet_s
        return status_line(self.live, now_s, silent_s, self.packets, self.not_understood, self._noise)


def follow_port(port, follower, say, seconds=None, stopped=lambda: False, clock=time.monotonic):
    """Feed a follower from a port until the stream ends, time is over, or `stopped` says so.

    say: called with a line of text about once a second. seconds: how long, None for ever.
    Returns why it ended, in words. Raises LoftbookError if the port breaks or bytes cannot be kept.
    """
    start_s = clock()
    line_s = start_s + LINE_EVERY_S
    while not stopped():
        now_s = clock()
        if seconds is not None and now_s - start_s >= seconds:
            return f"{seconds:g} s are over"
        if now_s >= line_s:
            say(follower.line())
            line_s += LINE_EVERY_S * ((now_s - line_s) // LINE_EVERY_S + 1)
        try:
            data = port.read()
        except EndOfStream:
            return "the stream ended"
        if data:
            try:
                follower.take(data)
            except OSError as error:
                raise LoftbookError(
                    f"cannot keep what arrives: {error.strerror or error}; free some space"
                ) from None
    return "stopped"
