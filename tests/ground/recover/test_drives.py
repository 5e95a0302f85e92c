"""Drives: opened for reading only, read in whole sectors, measured even where seeking does not tell."""

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from built_images import FLIGHT, recovered_keys, written_log

from ground.errors import LoftbookError
from ground.recover import readable, recover_source
from ground.recover.readable import ALIGNMENT, Readable

ROOT = Path(__file__).parents[3]
LOG = written_log(rounds=60)
SECTOR = 512


class Drive:
    """Stands for a block device: wants aligned reads, as raw devices do, and may hide its size."""

    def __init__(self, data, end=None):
        self._data, self._end, self._at = data, len(data) if end is None else end, 0
        self.reads = []

    def seek(self, offset, whence=os.SEEK_SET):
        self._at = offset if whence == os.SEEK_SET else self._end
        return self._at

    def readinto(self, view):
        self.reads.append((self._at, len(view)))
        if self._at % SECTOR or len(view) % SECTOR:
            raise OSError(22, "Invalid argument")
        part = self._data[self._at:self._at + len(view)]
        view[:len(part)] = part
        self._at += len(part)
        return len(part)

    def fileno(self):
        return 99

    def close(self):
        self._at = 0


@pytest.fixture
def plug_in(monkeypatch):
    """Makes /dev/sdX a block device with these bytes; returns it."""

    def plug(data, **options):
        drive = Drive(data, **options)
        status = os.stat_result((stat.S_IFBLK | 0o660, 0, 0, 1, 0, 0, 0, 0, 0, 0))
        original = Path.stat
        monkeypatch.setattr(
            Path, "stat", lambda self, **_: status if str(self) == "/dev/sdX" else original(self, **_)
        )
        monkeypatch.setattr(readable, "_open", lambda path, direct: drive)
        return drive

    return plug


def test_a_drive_is_recovered_though_its_log_begins_between_sectors(plug_in):
    drive = plug_in((bytes(5000) + b"".join(LOG.envelopes)).ljust(3 << 20, b"\0"))
    recovered = recover_source("/dev/sdX")
    recovered.ledger.check()
    assert recovered_keys(recovered.boots[0], FLIGHT) == LOG.keys()
    assert not recovered.ledger.has_losses
    assert recovered.ledger.size == 3 << 20
    assert all(at % SECTOR == length % SECTOR == 0 for at, length in drive.reads)


def test_any_place_of_a_drive_can_be_read(plug_in):
    data = os.urandom(3 * ALIGNMENT + SECTOR)  # not a multiple of the alignment, as cards may be
    plug_in(data)
    with Readable("/dev/sdX") as drive:
        for offset in (0, 1, 511, 512, ALIGNMENT - 1, 2 * ALIGNMENT + 3, len(data) - 1):
            for length in (1, 511, 512, ALIGNMENT, ALIGNMENT + 1, len(data)):
                view = memoryview(bytearray(length))
                count = drive.read(offset, view)
                assert bytes(view[:count]) == data[offset:offset + length]


def test_a_gzip_magic_on_a_drive_is_no_compression(plug_in):
    plug_in((b"\x1f\x8b\x08\x00" + bytes(508) + b"".join(LOG.envelopes)).ljust(1 << 20, b"\0"))
    recovered = recover_source("/dev/sdX")
    assert recovered_keys(recovered.boots[0], FLIGHT) == LOG.keys()


def test_a_drive_that_does_not_tell_its_size_by_seeking_is_asked(plug_in, monkeypatch):
    fcntl = pytest.importorskip("fcntl")
    plug_in(bytes(4096), end=0)
    answers = {0x40046418: (512).to_bytes(4, sys.byteorder), 0x40086419: (8).to_bytes(8, sys.byteorder)}
    monkeypatch.setattr(fcntl, "ioctl", lambda number, request, _: answers[request])
    monkeypatch.setattr(sys, "platform", "darwin")
    with Readable("/dev/sdX") as drive:
        assert (drive.size, drive.is_drive) == (4096, True)
    monkeypatch.setattr(sys, "platform", "linux")
    with pytest.raises(LoftbookError, match="is empty"):
        Readable("/dev/sdX")


def test_a_source_is_opened_for_reading_only(tmp_path, monkeypatch):
    path = tmp_path / "log.bin"
    path.write_bytes(b"".join(LOG.envelopes))
    modes = []
    original = os.open

    def watched(name, flags, *rest):
        if str(name) == str(path):
            modes.append(flags & os.O_ACCMODE)
        return original(name, flags, *rest)

    monkeypatch.setattr(os, "open", watched)
    recover_source(path)
    assert modes and set(modes) == {os.O_RDONLY}


def test_two_gigabytes_take_no_more_memory_than_a_small_card():
    # The same command, with 64 GB, is for developers; see there.
    done = subprocess.run(
        [sys.executable, "tools/measure_recovery.py", "--gigabytes", "2", "--blocks", "500"],
        cwd=ROOT, capture_output=True, text=True,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.startswith("2000000000 bytes, 500 blocks: ")
