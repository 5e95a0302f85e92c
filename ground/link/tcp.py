"""A TCP connection as a port. pyserial has one too, but it drops the bytes that stand before
the end of the stream, and cannot tell an end from a break."""

import select
import socket
from urllib.parse import urlsplit

from ground.errors import LoftbookError
from ground.link.stream import POLL_S, EndOfStream

_CONNECT_WAIT_S = 10
_CHUNK = 4096


class TcpPort:
    """The client's side of socket://HOST:PORT. See ground.link.port.Port for the methods."""

    def __init__(self, url):
        self.name = url
        try:
            parts = urlsplit(url)
            host, port = parts.hostname, parts.port
        except ValueError:
            host = port = None
        if not host or not port:
            raise LoftbookError(
                f"{url}: not a connection; write socket://HOST:PORT, such as socket://localhost:7700"
            )
        try:
            self._socket = socket.create_connection((host, port), timeout=_CONNECT_WAIT_S)
        except OSError as error:
            why = error.strerror or str(error)
            raise LoftbookError(
                f"{url}: cannot connect: {why}; "
                "check the address, and start the program at the other end first"
            ) from None
        self._socket.settimeout(None)

    def read(self):
        """Give what has arrived; b"" if nothing came for POLL_S."""
        try:
            ready, _, _ = select.select([self._socket], [], [], POLL_S)
            if not ready:
                return b""
            data = self._socket.recv(_CHUNK)
        except OSError as error:
            raise self._broken(error) from None
        if not data:
            raise EndOfStream
        return data

    def write(self, data):
        """Send all of it."""
        try:
            self._socket.sendall(data)
        except OSError as error:
            raise self._broken(error) from None

    def drain(self):
        """Say that nothing more will come; the system delivers what is under way."""
        try:
            self._socket.shutdown(socket.SHUT_WR)
        except OSError as error:
            raise self._broken(error) from None

    def close(self):
        """Give the connection back."""
        self._socket.close()

    def _broken(self, error):
        return LoftbookError(f"{self.name}: the connection broke: {error.strerror or error}")
