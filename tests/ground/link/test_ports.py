"""Ports: pseudo-terminals, TCP connections, devices, and what they say when they fail."""

import os
import socket
import sys
import threading
from struct import pack

import pytest

from ground.errors import LoftbookError
from ground.link.port import open_port
from ground.link.stream import EndOfStream

needs_pseudo_terminals = pytest.mark.skipif(sys.platform == "win32", reason="POSIX only")
EVERY_BYTE = bytes(range(256)) * 3
READS = 100  # of POLL_S each: a bound, not an expectation


def read_to_end(port):
    received = b""
    for _ in range(READS):
        try:
            received += port.read()
        except EndOfStream:
            return received
    pytest.fail(f"the stream did not end; received {len(received)} bytes")


@needs_pseudo_terminals
def test_a_pseudo_terminal_receives_every_byte_unchanged_and_ends_with_the_other_program(capsys):
    port = open_port("pty")
    assert port.name in capsys.readouterr().err
    assert port.read() == b""  # nobody has opened it yet: that is no end
    other = os.open(port.name, os.O_WRONLY | os.O_NOCTTY)
    os.write(other, EVERY_BYTE)
    os.close(other)
    assert read_to_end(port) == EVERY_BYTE
    port.close()


@needs_pseudo_terminals
def test_a_pseudo_terminal_sends_every_byte_unchanged_and_waits_for_a_slow_reader():
    port = open_port("pty")
    sent = EVERY_BYTE * 40  # more than the terminal holds
    received = bytearray()

    def read_slowly():
        other = os.open(port.name, os.O_RDONLY | os.O_NOCTTY)
        while len(received) < len(sent):
            received.extend(os.read(other, 1000))
        os.close(other)

    reader = threading.Thread(target=read_slowly, daemon=True)
    reader.start()
    port.write(sent)
    port.drain()
    reader.join(30)
    port.close()
    assert bytes(received) == sent


@needs_pseudo_terminals
def test_a_device_port_reads_a_pseudo_terminal_to_its_end():
    ours, other = os.openpty()
    name = os.ttyname(other)
    port = open_port(name)  # opening it empties its input and makes it raw
    os.close(other)
    os.write(ours, EVERY_BYTE)
    received = b""
    for _ in range(READS):
        received += port.read()
        if len(received) == len(EVERY_BYTE):
            break
    os.close(ours)
    assert received + read_to_end(port) == EVERY_BYTE
    port.close()


@pytest.fixture
def listener():
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(30)
        yield server, f"socket://127.0.0.1:{server.getsockname()[1]}"


def test_a_connection_gives_the_bytes_before_its_end(listener):
    server, url = listener
    port = open_port(url)
    other, _ = server.accept()
    assert port.read() == b""
    other.sendall(EVERY_BYTE)
    other.close()
    assert read_to_end(port) == EVERY_BYTE
    port.close()


def test_a_connection_that_is_reset_is_a_break_and_no_end(listener):
    server, url = listener
    port = open_port(url)
    other, _ = server.accept()
    # SO_LINGER with a time of 0 makes close() send a reset (POSIX, "use of options", SO_LINGER).
    other.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, pack("ii", 1, 0))
    other.close()
    with pytest.raises(LoftbookError, match=f"^{url}: the connection broke: "):
        read_to_end(port)
    port.close()


def test_drain_tells_the_other_side_that_the_stream_is_over(listener):
    server, url = listener
    port = open_port(url)
    other, _ = server.accept()
    other.settimeout(30)
    port.write(b"all")
    port.drain()
    assert b"".join(iter(lambda: other.recv(10), b"")) == b"all"
    port.close()
    other.close()


def free_address():
    with socket.create_server(("127.0.0.1", 0)) as server:
        return f"socket://127.0.0.1:{server.getsockname()[1]}"


@pytest.mark.parametrize(
    ("url", "says"),
    [
        (
            "/dev/no-such-port",
            "/dev/no-such-port: cannot open this port: no such device; plug it in and check",
        ),
        ("radio://receiver", "radio://receiver: cannot open this port: not a port; give a device such as"),
        ("socket://nowhere", "socket://nowhere: not a connection; write socket://HOST:PORT, such as"),
        ("socket://localhost:port", "socket://localhost:port: not a connection; write socket://HOST:PORT"),
        (__file__, f"{__file__}: cannot open this port: not a serial port"),
    ],
)
def test_a_port_that_cannot_be_opened_is_one_line(url, says):
    with pytest.raises(LoftbookError) as caught:
        open_port(url)
    assert str(caught.value).startswith(says)
    assert "\n" not in str(caught.value)
    assert caught.value.exit_code == 1


def test_a_refused_connection_says_to_start_the_other_program():
    url = free_address()
    with pytest.raises(LoftbookError) as caught:
        open_port(url)
    assert str(caught.value).startswith(f"{url}: cannot connect: ")
    assert str(caught.value).endswith("check the address, and start the program at the other end first")


def test_a_port_that_pyserial_makes_itself_works_like_a_device():
    port = open_port("loop://")  # pyserial's own: what is written can be read back
    port.write(b"back")
    port.drain()
    assert b"".join(port.read() for _ in range(4)) == b"back"
    port.close()
