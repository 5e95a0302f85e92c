"""The listener keeps first and understands afterwards."""

import io

import pytest

from ground.errors import LoftbookError
from ground.link.follow import Follower, follow_port
from ground.link.stream import EndOfStream


class MadePort:
    """Hands out pieces, then ends."""

    def __init__(self, *pieces):
        self._pieces = list(pieces)

    def read(self):
        if not self._pieces:
            raise EndOfStream
        return self._pieces.pop(0)


class SteppingClock:
    """Every look at it is a quarter of a second later."""

    def __init__(self):
        self.now_s = 0.0

    def __call__(self):
        self.now_s += 0.25
        return self.now_s


class FullDisk(io.BytesIO):
    def write(self, data):
        raise OSError(28, "No space left on device")


def test_bytes_are_in_the_capture_before_anything_looks_at_them(monkeypatch):
    capture = io.BytesIO()
    follower = Follower(capture)
    seen = []

    def look(data):
        seen.append((bytes(data), capture.getvalue()))
        raise RuntimeError("decoding failed")

    monkeypatch.setattr(follower._finder, "feed", look)
    with pytest.raises(RuntimeError):
        follower.take(b"first")
    assert seen == [(b"first", b"first")]


def test_a_full_disk_is_told_in_one_line():
    with pytest.raises(LoftbookError) as caught:
        follow_port(MadePort(b"data"), Follower(FullDisk()), print)
    assert str(caught.value) == "cannot keep what arrives: No space left on device; free some space"


def test_there_is_a_line_a_second_and_silence_is_told_after_five():
    lines = []
    clock = SteppingClock()
    follower = Follower(io.BytesIO(), clock)
    assert follow_port(MadePort(*[b""] * 40), follower, lines.append, clock=clock) == "the stream ended"
    assert lines[0].startswith("listening, nothing heard yet; 0 packets good")
    assert lines[-1].startswith("silence for ") and "does not mean that the payload has failed" in lines[-1]
    assert 8 <= len(lines) <= 13  # 40 reads and as many lines' looks take 10 s and a little more


def test_noise_is_counted_and_told_as_noise():
    clock = SteppingClock()
    capture = io.BytesIO()
    follower = Follower(capture, clock)
    follow_port(MadePort(*[b"\x9eL noise"] * 30), follower, lambda line: None, clock=clock)
    assert (follower.packets, follower.not_understood) == (0, 240)
    assert follower.line().startswith("no packet for ")
    assert capture.getvalue() == b"\x9eL noise" * 30


def test_it_stops_between_two_reads_when_it_is_told_to():
    capture = io.BytesIO()
    follower = Follower(capture)
    port = MadePort(b"a", b"b", b"c")
    assert follow_port(port, follower, print, stopped=lambda: follower.bytes == 2) == "stopped"
    assert capture.getvalue() == b"ab"
    assert port.read() == b"c"
