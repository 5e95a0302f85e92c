"""Ports: one small interface over serial ports, TCP connections and new pseudo-terminals."""

import errno
import os
from typing import Protocol

import serial
from serial.tools import list_ports

from ground.errors import LoftbookError
from ground.link.pseudo_terminal import PseudoTerminal
from ground.link.stream import POLL_S, EndOfStream
from ground.link.tcp import TcpPort


class Port(Protocol):
    """What every port can do. Each method raises LoftbookError if the port breaks."""

    name: str

    def read(self) -> bytes:
        """Give what has arrived; b"" if nothing came for POLL_S. Raises EndOfStream at the end."""

    def write(self, data: bytes) -> None:
        """Send all of it; waits as long as the other side takes."""

    def drain(self) -> None:
        """Wait until what was written has left, so that closing does not cut it off."""

    def close(self) -> None:
        """Give the port back. Never raises."""


def open_port(url: str, baud: int = 115200) -> Port:
    """Open the port that a --port option names.

    url: a device (/dev/ttyUSB0, COM3), a URL that pyserial knows, socket://HOST:PORT for a TCP
    connection, or `pty` to make a new pseudo-terminal for another program to open.
    baud: symbols a second, 8 data bits, no parity, 1 stop bit; only devices care.
    Raises LoftbookError if it cannot be opened.
    """
    if url == "pty":
        return PseudoTerminal()
    if url.startswith("socket://"):
        return TcpPort(url)
    return SerialPort(url, baud)


class SerialPort:
    """A serial device, through pyserial."""

    def __init__(self, url, baud):
        self.name = url
        try:
            self._serial = serial.serial_for_url(url, baudrate=baud, timeout=POLL_S, exclusive=True)
        except (OSError, ValueError) as error:  # SerialException is an OSError
            raise LoftbookError(f"{url}: cannot open this port: {_why(error)}") from None

    def read(self):
        """See Port."""
        try:
            # One call for many bytes would drop those that it has when the device goes away.
            data = self._serial.read(1)
        except OSError as error:
            # The far end of a pseudo-terminal closes as a file does; a device does not end, it breaks.
            if os.path.realpath(self.name).startswith(("/dev/pts/", "/dev/ttys")):
                raise EndOfStream from None
            raise self._broken(error) from None
        if data:
            try:
                data += self._serial.read(self._serial.in_waiting)
            except OSError:
                pass  # the next call reports it; the byte in hand comes first
        return data

    def write(self, data):
        """See Port."""
        try:
            self._serial.write(data)
        except OSError as error:
            raise self._broken(error) from None

    def drain(self):
        """See Port."""
        try:
            self._serial.flush()
        except (OSError, ValueError) as error:
            raise self._broken(error) from None

    def close(self):
        """See Port."""
        try:
            self._serial.close()
        except OSError:
            pass

    def _broken(self, error):
        return LoftbookError(f"{self.name}: the port broke: {_why(error)}")


def _why(error):
    number = getattr(error, "errno", None)
    if number == errno.ENOENT:
        here = ", ".join(sorted(port.device for port in list_ports.comports())) or "none"
        return f"no such device; plug it in and check the name (serial ports of this machine: {here})"
    if number == errno.EACCES:
        return "not allowed; on Linux, join the group that owns the device (often dialout) and log in again"
    if number in (errno.EBUSY, errno.EAGAIN):
        return "another program is using it; close that program"
    if "baud" in str(error):
        return "this device cannot go at that speed; choose another --baud"
    if isinstance(error, ValueError):
        return "not a port; give a device such as /dev/ttyUSB0 or COM3, socket://HOST:PORT, or pty"
    if number == errno.ENOTTY or "Could not configure port" in str(error):
        return "not a serial port"
    return " ".join(str(error).split())
