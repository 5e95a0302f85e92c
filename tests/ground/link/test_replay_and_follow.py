"""A replayed flight, followed through noise, is recovered from the capture as from the source."""

import csv
import os
import re
import signal
import socket
import subprocess
import sys
import threading
from pathlib import Path
from random import Random

import pytest
from small_flight import build_log

from protocol.packet import PACKET_OVERHEAD, PACKET_SYNC

ROOT = Path(__file__).parents[3]
WAIT_S = 60  # a bound on every wait, not an expectation
needs_pseudo_terminals = pytest.mark.skipif(sys.platform == "win32", reason="POSIX only")


def start(*arguments):
    command = [sys.executable, "-m", "ground", *map(str, arguments)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "200"}
    return subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8", env=environment
    )


def finish(process):
    out, err = process.communicate(timeout=WAIT_S)
    assert "Traceback" not in err
    return process.returncode, out, err


def run(*arguments):
    return finish(start(*arguments))


class Relay(threading.Thread):
    """Takes bytes from a sender and hands them to a listener, both of which connect to it.

    Between the packets it can put noise, with false syncs in it; it can drop one in `drop_every`.
    `passed` is all that the listener got.
    """

    def __init__(self, noise=False, drop_every=0):
        super().__init__(daemon=True)
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.settimeout(WAIT_S)
        self.url = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self.listening = threading.Event()
        self.passed = bytearray()
        self.handed_on, self.dropped = [], []  # (boot byte, number) of packets
        self._noise = noise
        self._drop_every = drop_every
        self._random = Random(7)

    def run(self):
        with self._server, self._server.accept()[0] as listener:
            self.listening.set()
            with self._server.accept()[0] as sender:
                buffer = b""
                while data := sender.recv(4096):
                    buffer = self._forward(buffer + data, listener)
                assert buffer == b""

    def _forward(self, buffer, listener):
        while len(buffer) > 2 and len(buffer) >= buffer[2] + PACKET_OVERHEAD:
            size = buffer[2] + PACKET_OVERHEAD
            name = buffer[4], int.from_bytes(buffer[5:7], "little")
            if self._drop_every and name[1] % self._drop_every == self._drop_every - 1:
                self.dropped.append(name)
            else:
                self.handed_on.append(name)
                self._pass(buffer[:size], listener)
            if self._noise:
                self._pass(self._random.randbytes(self._random.randrange(30)), listener)
                self._pass(self._random.choice([b"", PACKET_SYNC, PACKET_SYNC + b"\x20"]), listener)
            buffer = buffer[size:]
        return buffer

    def _pass(self, data, listener):
        self.passed += data
        listener.sendall(data)


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    path = tmp_path_factory.mktemp("source") / "napraforgo-card.img"
    path.write_bytes(bytes(700) + build_log(extra_kind=True) + bytes(2048))
    return path


@pytest.fixture(scope="module")
def tables_of_source(source):
    code, _, _ = run("recover", source, "-o", source.parent / "recovered")
    assert code == 0
    return tables(source.parent / "recovered")


def tables(folder):
    return {path.name: path.read_bytes() for path in folder.glob("*.csv")}


def through_relay(relay, source, capture, *options):
    relay.start()
    follower = start("follow", "--port", relay.url, "--capture", capture)
    assert relay.listening.wait(WAIT_S)
    sent = run("replay", source, "--port", relay.url, "--speed", "0", *options)
    heard = finish(follower)
    relay.join(WAIT_S)
    return sent, heard


def test_a_flight_followed_through_noise_is_recovered_as_from_its_source(source, tables_of_source, tmp_path):
    relay = Relay(noise=True)
    capture = tmp_path / "napraforgo-radio.bin"
    (sent_code, sent, _), (heard_code, heard, heard_errors) = through_relay(relay, source, capture)
    assert (sent_code, heard_code, heard_errors) == (0, 0, "")
    assert sent.startswith("sending flight 1a2b3c4d (Napraforgo-1), 2 boots\nsent ")
    assert heard.splitlines()[-1].startswith("the stream ended; ")
    assert capture.read_bytes() == relay.passed
    code, out, _ = run("recover", capture, "-o", tmp_path / "from-capture")
    assert code == 0, out
    assert tables(tmp_path / "from-capture") == tables_of_source
    assert "wind.csv" in tables_of_source  # the kind that only the manifest knows


@needs_pseudo_terminals
def test_a_flight_sent_over_a_pseudo_terminal_is_recovered_as_from_its_source(
    source, tables_of_source, tmp_path
):
    capture = tmp_path / "napraforgo-radio.bin"
    follower = start("follow", "--port", "pty", "--capture", capture)
    words = follower.stderr.readline().split()
    assert words[0] == "pseudo-terminal"
    device = words[1].rstrip(":")
    assert run("replay", source, "--port", device, "--speed", "0")[0] == 0
    code, out, _ = finish(follower)
    assert code == 0 and "the stream ended; " in out
    assert run("recover", capture, "-o", tmp_path / "from-capture")[0] == 0
    assert tables(tmp_path / "from-capture") == tables_of_source


@needs_pseudo_terminals
def test_a_replay_to_a_new_pseudo_terminal_waits_for_its_reader(source, tmp_path):
    sender = start("replay", source, "--port", "pty", "--speed", "0")
    device = sender.stderr.readline().split()[1].rstrip(":")
    reader = os.open(device, os.O_RDONLY | os.O_NOCTTY)
    received = bytearray()

    def read():
        try:
            while data := os.read(reader, 4096):
                received.extend(data)
        except OSError:  # EIO: the sender has closed its side
            pass

    thread = threading.Thread(target=read, daemon=True)
    thread.start()
    code, out, _ = finish(sender)
    thread.join(WAIT_S)
    os.close(reader)
    assert code == 0
    assert f", {len(received)} bytes\n" in out
    capture = tmp_path / "read.bin"
    capture.write_bytes(received)
    assert run("recover", capture, "-o", tmp_path / "recovered")[0] == 0


def rows_by_tick(data):
    """Rows without the columns that a clock or a launch fitted to fewer fixes may move."""
    rows = csv.DictReader(data.decode().splitlines())
    moving = {"utc", "seconds_since_launch", "message"}
    return [tuple((k, v) for k, v in row.items() if k not in moving) for row in rows]


def test_packets_lost_on_the_link_are_told_and_nothing_is_invented(source, tables_of_source, tmp_path):
    relay = Relay(drop_every=20)
    capture = tmp_path / "napraforgo-radio.bin"
    through_relay(relay, source, capture)
    code, out, _ = run("recover", capture, "-o", tmp_path / "from-capture")
    assert code == 4
    last = dict(sorted(relay.handed_on))  # nothing shows that a packet followed the last of a boot
    lost = sum(number < last[boot] for boot, number in relay.dropped)
    assert lost > 50
    assert re.search(rf"^Lost {{14}}{lost} packets, .*: {lost} not heard \(gaps in the link\)$", out, re.MULTILINE)
    for name, data in tables(tmp_path / "from-capture").items():
        assert set(rows_by_tick(data)) <= set(rows_by_tick(tables_of_source[name]))


def test_of_several_flights_the_last_is_sent_unless_another_is_named(tmp_path):
    source = tmp_path / "card-used-twice.img"
    source.write_bytes(build_log(flight=b"\xc0\xff\xee\x01") + build_log())
    for options, flight in ((), "1a2b3c4d"), (("--flight", "C0FFEE01"), "c0ffee01"):
        capture = tmp_path / f"{flight}.bin"
        (code, out, _), _ = through_relay(Relay(), source, capture, *options)
        assert code == 0
        assert out.startswith(f"sending flight {flight} (Napraforgo-1), 2 boots; also in {source}: ")
        assert capture.read_bytes()[3] == int(flight[:2], 16)
    code, out, err = run("replay", source, "--port", "pty", "--flight", "0badf00d")
    assert (code, out) == (1, "")
    assert err == "loftbook: flight 0badf00d: not in this source; it holds c0ffee01, 1a2b3c4d\n"


@pytest.fixture
def sender():
    """A server that sends what a test tells it to: (server socket, url)."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(WAIT_S)
        yield server, f"socket://127.0.0.1:{server.getsockname()[1]}"


def test_follow_ends_after_the_seconds_that_were_asked_for(sender, tmp_path):
    _, url = sender
    code, out, err = run("follow", "--port", url, "--capture", tmp_path / "a.bin", "--seconds", "1.3")
    assert (code, err) == (0, "")
    assert out.splitlines() == [
        "listening, nothing heard yet; 0 packets good, 0 bytes not understood",
        f"1.3 s are over; 0 packets good, 0 bytes not understood, 0 bytes kept in {tmp_path / 'a.bin'}",
    ]


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGINT to another process there")
def test_an_interrupt_ends_with_the_totals_and_keeps_every_byte(sender, tmp_path):
    server, url = sender
    follower = start("follow", "--port", url, "--capture", tmp_path / "a.bin")
    connection, _ = server.accept()
    connection.sendall(b"noise, not packets")
    assert follower.stdout.readline()  # the first line of status: it listens by now
    follower.send_signal(signal.SIGINT)
    code, out, err = finish(follower)
    connection.close()
    assert (code, err) == (0, "")
    assert out.splitlines()[-1] == (
        f"stopped; 0 packets good, 18 bytes not understood, 18 bytes kept in {tmp_path / 'a.bin'}"
    )
    assert (tmp_path / "a.bin").read_bytes() == b"noise, not packets"


def test_a_port_that_breaks_is_one_line_and_the_capture_is_kept(sender, tmp_path):
    server, url = sender
    follower = start("follow", "--port", url, "--capture", tmp_path / "a.bin")
    connection, _ = server.accept()
    connection.sendall(b"noise")
    assert follower.stdout.readline()  # the first line of status: it has read what was sent
    linger = (1).to_bytes(4, sys.byteorder) + bytes(4)  # SO_LINGER of 0 s: close() sends a reset
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)
    connection.close()
    code, _, err = finish(follower)
    assert code == 1
    assert err.startswith(f"loftbook: {url}: the connection broke: ")
    assert err.endswith(f"; the 5 bytes before are in {tmp_path / 'a.bin'}\n")
    assert err.count("\n") == 1
    assert (tmp_path / "a.bin").read_bytes() == b"noise"
