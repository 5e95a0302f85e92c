"""Parts of a sparse file that were never written are passed over, and told as the zeros that they are."""

import os
import time

import pytest
from built_images import FLIGHT, recovered_keys, states, written_log

from ground.recover import recover_source
from ground.recover.readable import Readable
from ground.recover.source import WINDOW_SIZE

PAGE = 4096
LONG_AGO_S = 3600


@pytest.fixture(scope="module")
def log():
    return written_log(rounds=60)


@pytest.fixture
def sparse(tmp_path):
    """Writes pieces {offset: bytes} into an otherwise empty file of a size, long ago; skips the test where
    that file is not sparse.
    """
    def write(size, pieces, age_s=LONG_AGO_S):
        path = tmp_path / "card.img"
        with open(path, "wb") as file:
            file.truncate(size)
            for offset, data in pieces.items():
                file.seek(offset)
                file.write(data)
            os.fsync(file.fileno())
        if not hasattr(os, "SEEK_DATA") or path.stat().st_blocks * 512 >= size:
            pytest.skip("this file system has no sparse files, or does not tell of them")
        then = time.time() - age_s
        os.utime(path, (then, then))
        return path

    return write


def read_in_full(monkeypatch, path):
    """Recovered, without asking where the file was written."""
    with monkeypatch.context() as patch:
        patch.setattr(Readable, "hole", lambda *_: 0)
        return recover_source(path)


def test_what_was_never_written_is_not_read(sparse, log, bytes_read):
    size, data = 200 * WINDOW_SIZE, b"".join(log.envelopes)
    place = 70 * WINDOW_SIZE + 5 * PAGE
    recovered = recover_source(sparse(size, {place: data}))
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys()
    assert states(recovered) == [
        ("unwritten_zeros", place), ("block", len(data)), ("unwritten_zeros", size - place - len(data))
    ]
    assert bytes_read[0] < 3 * WINDOW_SIZE + len(data)


def test_a_file_that_was_written_a_moment_ago_is_read_from_end_to_end(sparse, log, bytes_read):
    size = 20 * WINDOW_SIZE
    recovered = recover_source(sparse(size, {9 * WINDOW_SIZE: b"".join(log.envelopes)}, age_s=0))
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys()
    assert bytes_read == [size]


@pytest.mark.parametrize("shift", [-1025, -1024, -700, -512, -300, -1, 0, 1, 300])
@pytest.mark.parametrize("edge", [3 * WINDOW_SIZE, 3 * WINDOW_SIZE + PAGE])
def test_blocks_at_the_edge_of_a_hole_are_found_as_ever(sparse, log, monkeypatch, edge, shift):
    # One block next to where a window or a page ends, one cut off by the hole behind it.
    cut_off = log.envelopes[3][:200]
    pieces = {edge + shift: log.envelopes[2], 9 * WINDOW_SIZE - 200: cut_off, 0: log.envelopes[0]}
    path = sparse(16 * WINDOW_SIZE + 700, pieces)
    recovered, in_full = recover_source(path), read_in_full(monkeypatch, path)
    assert recovered_keys(recovered.boots[0], FLIGHT) == recovered_keys(in_full.boots[0], FLIGHT)
    assert recovered.boots[0].envelopes_found == 2
    assert recovered.ledger.to_json() == in_full.ledger.to_json()


def test_a_block_whose_first_bytes_were_never_written_is_damaged(sparse, log, monkeypatch):
    edge = 3 * WINDOW_SIZE
    path = sparse(8 * WINDOW_SIZE, {edge: log.envelopes[2][4:] + log.envelopes[3] + log.envelopes[4]})
    recovered = recover_source(path)
    assert states(recovered)[:3] == [("unwritten_zeros", edge - 4), ("block_damaged", 512), ("block", 1024)]
    assert recovered.ledger.to_json() == read_in_full(monkeypatch, path).ledger.to_json()


def test_a_source_that_is_one_hole_holds_nothing(sparse):
    size = 5 * WINDOW_SIZE + 3
    recovered = recover_source(sparse(size, {}))
    assert recovered.boots == []
    assert states(recovered) == [("unwritten_zeros", size)]


def test_the_end_of_a_file_that_shrinks_while_it_is_read_is_no_hole(sparse, log):
    path = sparse(50 * WINDOW_SIZE, {0: b"".join(log.envelopes)})

    def shorten(done, _):
        if done == WINDOW_SIZE:
            os.truncate(path, 2 * WINDOW_SIZE)

    recovered = recover_source(path, progress=shorten)
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys()
    assert states(recovered)[-1] == ("unreadable", 48 * WINDOW_SIZE)


def test_progress_comes_to_the_end_across_holes(sparse, log):
    size = 30 * WINDOW_SIZE
    path = sparse(size, {4 * WINDOW_SIZE: b"".join(log.envelopes)})
    told = []
    recover_source(path, progress=lambda done, in_all: told.append((done, in_all)))
    assert told == sorted(told)
    assert told[-1] == (size, size)
