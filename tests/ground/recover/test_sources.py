import json
import os

import pytest
from built_images import FLIGHT, recover_bytes, recovered_keys, states, written_log

from ground.errors import LoftbookError
from ground.recover import Range, recover_source
from ground.recover.ledger import Coverage, cover, repaint
from ground.recover.readable import Readable
from ground.recover.source import WINDOW_OVERLAP, WINDOW_SIZE, Source


@pytest.fixture(scope="module")
def log():
    return written_log(rounds=60)


def test_a_source_that_is_not_there_is_named(tmp_path):
    with pytest.raises(LoftbookError, match=r"nothing\.bin: no such file") as caught:
        recover_source(tmp_path / "nothing.bin")
    assert caught.value.exit_code == 1


def test_a_directory_is_refused(tmp_path):
    with pytest.raises(LoftbookError, match="is a directory"):
        recover_source(tmp_path)


def test_an_empty_source_is_refused(tmp_path):
    with pytest.raises(LoftbookError, match="is empty"):
        recover_bytes(tmp_path, b"")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_pipe_is_refused_at_once(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(LoftbookError, match="neither a file nor a drive"):
        recover_source(tmp_path / "pipe")


def test_a_source_that_may_not_be_read_is_named(tmp_path, monkeypatch):
    path = tmp_path / "log.bin"
    path.write_bytes(b"x")

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    # The tests may run as a user who may read everything.
    monkeypatch.setattr("builtins.open", refuse)
    with pytest.raises(LoftbookError, match="may not be read"):
        Source(path)


def test_a_name_that_no_file_can_have_is_an_error_of_ours():
    with pytest.raises(LoftbookError, match="cannot be opened"):
        recover_source("log\0.bin")


def test_windows_show_every_byte_once_and_the_next_ones_beyond(tmp_path):
    data = os.urandom(2 * WINDOW_SIZE + 700)
    path = tmp_path / "data.bin"
    path.write_bytes(data)
    seen = b""
    with Source(path) as source:
        for offset, view, own in source.windows():
            assert bytes(view) == data[offset:offset + WINDOW_SIZE + WINDOW_OVERLAP]
            assert offset == len(seen)
            seen += view[:own]
    assert seen == data


def test_progress_ends_at_the_size_of_the_source(tmp_path):
    path = tmp_path / "data.bin"
    path.write_bytes(bytes(2 * WINDOW_SIZE + 5))
    told = []
    recover_source(path, progress=lambda done, size: told.append((done, size)))
    size = 2 * WINDOW_SIZE + 5
    assert told == [(WINDOW_SIZE, size), (2 * WINDOW_SIZE, size), (size, size)]


def crack(monkeypatch, bad):
    """From now on these bytes cannot be read from any file, as on a failing card."""
    original = Readable.read

    def read(self, offset, view):
        if any(offset <= byte < offset + len(view) for byte in bad):
            raise OSError(5, "Input/output error")
        return original(self, offset, view)

    monkeypatch.setattr(Readable, "read", read)


def test_what_cannot_be_read_does_not_end_the_reading_of_the_rest(tmp_path, monkeypatch, log):
    image = bytes(8192) + b"".join(log.envelopes) + bytes(4096)
    bad = 8192 + 4096 + 100  # in the second piece of the log: its eight blocks are lost
    crack(monkeypatch, [bad])
    recovered = recover_bytes(tmp_path, image)
    [boot] = recovered.boots
    assert recovered_keys(boot, FLIGHT) == log.keys(but=range(8, 16))
    assert ("unreadable", 4096) in states(recovered)
    assert [(x.first_number, x.last_number, x.reason) for x in recovered.ledger.losses] == [
        (8, 15, "its place could not be read")
    ]
    assert recovered.ledger.has_losses


def test_blocks_that_change_between_two_readings_are_not_used(tmp_path, monkeypatch, log):
    path = tmp_path / "log.bin"
    path.write_bytes(b"".join(log.envelopes[::-1]))  # what stands in order is read only once
    place = 512 * (len(log.envelopes) - 1 - 5)
    original = Source.windows

    def windows(self):
        yield from original(self)
        with open(path, "r+b") as file:
            file.seek(place + 200)
            file.write(b"\x55\xaa\x55")

    monkeypatch.setattr(Source, "windows", windows)
    recovered = recover_source(path)
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys(but={5})
    assert "1 blocks read differently the second time and are not used" in recovered.ledger.notes


def test_the_ledger_is_plain_json(tmp_path, log):
    damaged = bytearray(b"".join(log.envelopes) + bytes(512))
    for byte in (50, 200, 400):  # more than can be repaired
        damaged[512 * 3 + byte] ^= 1
    ledger = json.loads(json.dumps(recover_bytes(tmp_path, bytes(damaged)).ledger.to_json()))
    assert (ledger["format"], ledger["version"]) == ("loftbook-ledger", 1)
    assert ledger["source"] == {"name": "source.bin", "size": len(damaged)}
    assert sum(item["length"] for item in ledger["ranges"]) == len(damaged)
    assert sum(ledger["bytes_by_state"].values()) == len(damaged)
    claim = ledger["ranges"][1]["detail"]
    assert claim["says_of_itself"] == {"flight": FLIGHT.hex(), "boot": 1, "number": 3}
    assert ledger["losses"][0]["first_number"] == 3


@pytest.mark.parametrize("ranges", [
    [], [Range(0, 9, "other")], [Range(1, 9, "other")], [Range(0, 6, "other"), Range(5, 5, "other")],
    [Range(0, 4, "other"), Range(5, 5, "other")], [Range(0, 0, "other"), Range(0, 10, "other")],
    [Range(0, 11, "other")],
])
def test_a_ledger_with_a_gap_or_an_overlap_is_noticed(ranges):
    Coverage("x", 10, [Range(0, 10, "other")]).check()
    with pytest.raises(ValueError, match="ledger of x"):
        Coverage("x", 10, ranges).check()


def test_overlays_stand_in_the_place_of_what_is_under_them():
    base = [Range(0, 10, "other"), Range(10, 10, "unwritten_zeros")]
    packet = Range(8, 4, "packet", {"number": 1})
    assert cover(20, base, [packet]) == [
        Range(0, 8, "other"), packet, Range(12, 8, "unwritten_zeros")
    ]


def test_only_what_is_not_ours_is_repainted():
    ranges = [Range(0, 10, "other"), Range(10, 5, "block", {"boot": 1}), Range(15, 10, "unwritten_zeros")]
    assert repaint(ranges, [(8, 10)], "unreadable") == [
        Range(0, 8, "other"), Range(8, 2, "unreadable"), ranges[1], Range(15, 3, "unreadable"),
        Range(18, 7, "unwritten_zeros"),
    ]
