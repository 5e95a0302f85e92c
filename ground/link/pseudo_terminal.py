"""A new pseudo-terminal as a port: its device is what another program opens in place of a
serial port, with no cable and no hardware."""

import array
import os
import select
import sys
import time

from ground.errors import LoftbookError
from ground.link.stream import POLL_S, EndOfStream

_CHUNK = 4096
_SETTLE_S = 0.5  # programs that open a serial port empty its input first
_DRAIN_STEPS = 50  # of POLL_S / 4 each, without progress, before drain gives up


class PseudoTerminal:
    """This program's side of the pair. See ground.link.port.Port for the methods.

    The device's path goes to stderr. Reading waits for the other program's first byte and ends
    when it closes; writing waits until it has opened the device.
    """

    def __init__(self):
        try:
            import tty  # POSIX only, like os.openpty
        except ImportError:
            raise LoftbookError(
                "pty: this system has no pseudo-terminals; "
                "use a pair of connected serial ports or socket://HOST:PORT"
            ) from None
        self._own, other = os.openpty()
        tty.setraw(other)
        self.name = os.ttyname(other)
        # Only if no one here keeps the other side open does its end tell that the program closed it.
        os.close(other)
        os.set_blocking(self._own, False)
        self._poll = select.poll()
        self._poll.register(self._own, select.POLLIN | select.POLLHUP)
        self._heard = False
        self._opened = False
        print(
            f"pseudo-terminal {self.name}: open it as a serial port with the other program",
            file=sys.stderr,
            flush=True,
        )

    def read(self):
        """Give what has arrived; b"" if nothing came for POLL_S."""
        events = self._events(POLL_S)
        if events & select.POLLIN:
            try:
                data = os.read(self._own, _CHUNK)
            except BlockingIOError:
                return b""
            except OSError:  # EIO: no program has the device open
                data = b""
            if data:
                self._heard = True
                return data
        if self._heard and events & select.POLLHUP:
            raise EndOfStream
        if events:
            time.sleep(POLL_S)  # a hang-up returns from poll at once
        return b""

    def write(self, data):
        """Send all of it."""
        self._wait_until_open()
        while data:
            try:
                data = data[os.write(self._own, data) :]
            except BlockingIOError:
                if self._events(0) & select.POLLHUP:
                    raise LoftbookError(
                        f"{self.name}: the other program closed the pseudo-terminal"
                    ) from None
                select.select([], [self._own], [], POLL_S)
            except OSError as error:
                raise LoftbookError(f"{self.name}: the pseudo-terminal broke: {error.strerror}") from None

    def drain(self):
        """Wait until the other program has read everything, or reads no more: what is still in
        the terminal when this side closes is lost."""
        other = os.open(self.name, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
        try:
            unread, still = -1, 0
            while unread != 0 or still < 2:
                if still > _DRAIN_STEPS:
                    return
                time.sleep(POLL_S / 4)
                before, unread = unread, _bytes_unread(other)
                still = still + 1 if unread == before else 0
        finally:
            os.close(other)

    def close(self):
        """Give the terminal back; its device vanishes."""
        os.close(self._own)

    def _events(self, seconds):
        ready = self._poll.poll(seconds * 1000)
        return ready[0][1] if ready else 0

    def _wait_until_open(self):
        if self._opened:
            return
        while self._events(0) & select.POLLHUP:
            time.sleep(POLL_S)
        time.sleep(_SETTLE_S)
        self._opened = True


def _bytes_unread(descriptor):
    import fcntl
    import termios

    count = array.array("i", [0])
    fcntl.ioctl(descriptor, termios.FIONREAD, count)
    return count[0]
