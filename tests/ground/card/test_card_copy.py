"""The copy of a card: every byte that can be read, the others as zeros and in the map, or nothing at all."""

import errno
import hashlib
import json
import os
import random
from collections import namedtuple
from types import SimpleNamespace

import pytest
from failing_card import FailingCard

from ground.card import place
from ground.card.copy import copy_card
from ground.card.image_map import map_path
from ground.errors import LoftbookError
from ground.recover import readable

MIB = 1 << 20
SIZE = 5 * MIB + 1536
DATA = random.Random(7).randbytes(SIZE)


@pytest.fixture
def card(tmp_path):
    path = tmp_path / "napraforgo-card"
    path.write_bytes(DATA)
    return path


def runs(sectors):
    """(offset, length) of stretches of sectors."""
    places = []
    for sector in sorted(sectors):
        if places and sum(places[-1]) == 512 * sector:
            places[-1] = (places[-1][0], places[-1][1] + 512)
        else:
            places.append((512 * sector, 512))
    return places


def blanked(places):
    data = bytearray(DATA)
    for offset, length in places:
        data[offset:offset + length] = bytes(length)
    return bytes(data)


def copied(card, places):
    """Copy the card, check image and map against the places that must be missing; returns what was told."""
    image = card.with_name("copy.img")
    before = sorted(card.parent.iterdir())
    told, said = [], []
    result = copy_card(card, image, said.append, lambda what, done, total: told.append((what, done, total)))
    expected = blanked(places)
    assert image.read_bytes() == expected
    found = json.loads(map_path(image).read_text("utf-8"))
    assert [(item["offset"], item["length"]) for item in found["unreadable"]] == places
    assert (found["format"], found["version"], found["device"]) == ("loftbook-card-map", 1, str(card))
    assert (found["size"], found["sha256"]) == (SIZE, hashlib.sha256(expected).hexdigest())
    assert found["retries"] == result.map.retries
    assert result.map.unreadable == places
    assert result.unreadable_bytes == sum(length for _, length in places)
    assert sorted(card.parent.iterdir()) == sorted([*before, image, map_path(image)])
    assert card.read_bytes() == DATA
    copying = [done for what, done, _ in told if what == "copying"]
    assert copying == sorted(copying)
    assert all(total == SIZE for _, _, total in told)
    return SimpleNamespace(map=result.map, is_gone=result.is_gone, said=said, told=told)


def test_a_good_card_is_copied_in_big_reads_alone(card, monkeypatch):
    failing = FailingCard(monkeypatch, card.name)
    result = copied(card, [])
    assert failing.reads == [(at, min(MIB, SIZE - at)) for at in range(0, SIZE, MIB)]
    assert (result.map.retries, result.is_gone) == (0, False)
    assert result.told[-1] == ("copying", SIZE, SIZE)
    assert result.said[0] == (
        f"Reading {card}, {SIZE} bytes. It is opened for reading only: nothing is written to it."
    )


@pytest.mark.parametrize("bad", [
    [0], [3000], [3000, 3001], [2047, 2048], range(3000, 3200), [SIZE // 512 - 1], [1, 700, 701, 5000, 10240],
])
def test_bad_sectors_cost_themselves_and_nothing_around_them(card, monkeypatch, bad):
    FailingCard(monkeypatch, card.name, bad=bad)
    result = copied(card, runs(bad))
    assert not result.is_gone
    assert result.told[-1] == ("checking", SIZE, SIZE)
    assert "Trying each 3 times more, then in smaller pieces, down to one sector" in result.said[-1]


def test_any_bad_sectors_cost_themselves_alone(tmp_path, monkeypatch):
    generator = random.Random(31)
    for number in range(6):
        card = tmp_path / f"card-{number}"
        card.mkdir()
        card /= "napraforgo-card"
        card.write_bytes(DATA)
        bad = set()
        for _ in range(generator.randrange(1, 6)):
            first = generator.randrange(SIZE // 512)
            bad |= set(range(first, min(SIZE // 512, first + generator.choice([1, 2, 9, 150, 400]))))
        with monkeypatch.context() as patch:
            FailingCard(patch, card.name, bad=bad)
            copied(card, runs(bad))


def test_a_sector_is_asked_for_three_times_more(card, monkeypatch):
    failing = FailingCard(monkeypatch, card.name, bad=[3000])
    result = copied(card, [(3000 * 512, 512)])
    chunk = 3000 * 512 // MIB * MIB
    assert failing.reads.count((chunk, MIB)) == 1 + 3
    assert failing.reads.count((3000 * 512, 512)) == 1 + 3
    assert failing.reads.count((3000 * 512 // 4096 * 4096, 4096)) == 1
    assert result.map.retries == 3 + 3
    # The rest of the card comes first: a card that is about to die gives its good parts.
    assert failing.reads.index((SIZE // MIB * MIB, SIZE % MIB)) < len(failing.reads) - 3 - 16


@pytest.mark.parametrize("times", [1, 2, 4, 6])
def test_a_weak_sector_that_answers_in_the_end_loses_nothing(card, monkeypatch, times):
    FailingCard(monkeypatch, card.name, weak={100: times, 5000: times})
    result = copied(card, [])
    assert result.map.retries > 0


def test_a_long_bad_stretch_is_asked_for_once_a_sector(card, monkeypatch):
    bad = range(2048, 4096)  # a whole MiB
    failing = FailingCard(monkeypatch, card.name, bad=bad)
    copied(card, runs(bad))
    last = [read for read in failing.reads if read == (4095 * 512, 512)]
    assert len(last) == 1


@pytest.mark.parametrize("limit", [512, 4096, 100_352])
def test_short_answers_are_asked_on_or_read_in_pieces(card, monkeypatch, limit):
    FailingCard(monkeypatch, card.name, short=limit)
    copied(card, [])


class Reluctant:
    """A file that gives few bytes a call, as the system may."""

    def __init__(self, file):
        self._file = file

    def readinto(self, view):
        return self._file.readinto(view[:5000])

    def __getattr__(self, name):
        return getattr(self._file, name)


def test_a_system_that_reads_less_than_it_was_asked_for_is_asked_on(card, monkeypatch):
    original = readable._open
    monkeypatch.setattr(readable, "_open", lambda path, direct: Reluctant(original(path, direct)))
    assert copied(card, []).map.retries == 0


@pytest.mark.parametrize("error", [
    OSError(errno.ENODEV, "No such device"), OSError(errno.EIO, "Input/output error"),
])
def test_a_card_that_goes_away_leaves_what_it_gave_and_the_rest_is_unreadable(card, monkeypatch, error):
    failing = FailingCard(monkeypatch, card.name, gone_after=3, gone_error=error)
    result = copied(card, [(3 * MIB, SIZE - 3 * MIB)])
    assert result.is_gone
    assert len(failing.reads) < 12


def test_a_card_that_goes_away_while_bad_places_are_tried_loses_only_what_was_not_read(card, monkeypatch):
    # 6 big reads, of which 2 fail, and then ask for a good sector: 8 reads. Then the hard reading begins.
    bad = [2050, 9000]
    FailingCard(monkeypatch, card.name, bad=bad, gone_after=40)
    image = card.with_name("copy.img")
    result = copy_card(card, image)
    assert result.is_gone
    data = image.read_bytes()
    missing = result.map.unreadable
    assert data == blanked(missing)
    chunks = [(1 * MIB, 2 * MIB), (4 * MIB, 5 * MIB)]
    assert all(any(a <= at and at + n <= b for a, b in chunks) for at, n in missing)
    assert (2050 * 512, 512) in [(at, 512) for at, _ in missing]
    assert (4 * MIB, MIB) in missing
    assert result.unreadable_bytes < 2 * MIB


def test_a_card_of_which_nothing_can_be_read_leaves_nothing(card, monkeypatch):
    gone = OSError(errno.ENXIO, "No such device or address")
    for options in ({"bad": range(SIZE // 512 + 1)}, {"gone_after": 0, "gone_error": gone}):
        with monkeypatch.context() as patch:
            FailingCard(patch, card.name, **options)
            with pytest.raises(LoftbookError, match="nothing of it can be read; try another card reader"):
                copy_card(card, card.with_name("copy.img"))
        assert sorted(card.parent.iterdir()) == [card]


def test_a_file_that_shrinks_meanwhile_has_an_unreadable_end(card, monkeypatch):
    def shrink(what, done, total):
        if done == 2 * MIB:
            os.truncate(card, 3 * MIB + 512)

    image = card.with_name("copy.img")
    result = copy_card(card, image, progress=shrink)
    assert result.map.unreadable == [(3 * MIB + 512, SIZE - 3 * MIB - 512)]
    assert image.read_bytes() == blanked(result.map.unreadable)


def test_ctrl_c_leaves_nothing_behind(card):
    def interrupt(what, done, total):
        if done > 2 * MIB:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        copy_card(card, card.with_name("copy.img"), progress=interrupt)
    assert sorted(card.parent.iterdir()) == [card]


def test_a_full_disk_is_said_and_leaves_nothing(card, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(LoftbookError, match=r"copy\.img: cannot be written \(No space left on device\)"):
        copy_card(card, card.with_name("copy.img"))
    assert sorted(card.parent.iterdir()) == [card]


def test_too_little_room_is_said_before_the_card_is_read(card, monkeypatch):
    failing = FailingCard(monkeypatch, card.name)
    usage = namedtuple("usage", "total used free")(SIZE, 1, SIZE - 1)
    monkeypatch.setattr(place.shutil, "disk_usage", lambda _: usage)
    with pytest.raises(LoftbookError, match=f"needs {SIZE} bytes and its disk has {SIZE - 1} left"):
        copy_card(card, card.with_name("copy.img"))
    assert failing.reads == []


@pytest.mark.parametrize("name", ["copy.img", "copy.img.map.json"])
def test_what_exists_is_never_overwritten(card, name):
    there = card.with_name(name)
    there.write_text("ours")
    with pytest.raises(LoftbookError, match=f"{name}: exists already and is not overwritten"):
        copy_card(card, card.with_name("copy.img"))
    assert there.read_text() == "ours"
    assert sorted(card.parent.iterdir()) == sorted([card, there])


def test_an_image_that_appears_meanwhile_is_not_overwritten(card):
    image = card.with_name("copy.img")

    def appear(what, done, total):
        image.write_text("ours")

    with pytest.raises(LoftbookError, match="exists already"):
        copy_card(card, image, progress=appear)
    assert image.read_text() == "ours"
    assert sorted(card.parent.iterdir()) == sorted([card, image])


def test_the_map_is_there_before_the_image(card, monkeypatch):
    renamed = []
    original = os.rename
    monkeypatch.setattr(os, "rename", lambda old, new: (renamed.append(str(new)), original(old, new)))
    copied(card, [])
    image = card.with_name("copy.img")
    assert renamed == [str(map_path(image)), str(image)]


def test_an_image_that_cannot_get_its_name_takes_its_map_along(card, monkeypatch):
    image = card.with_name("copy.img")
    original = os.rename

    def refuse(old, new):
        if new == image:
            raise OSError(errno.EACCES, "Permission denied")
        original(old, new)

    monkeypatch.setattr(os, "rename", refuse)
    with pytest.raises(LoftbookError, match="cannot be written"):
        copy_card(card, image)
    assert sorted(card.parent.iterdir()) == [card]


def test_the_card_is_opened_for_reading_only(card, monkeypatch):
    modes = []
    original = os.open

    def watched(name, flags, *rest, **options):
        if str(name) == str(card):
            modes.append(flags & (os.O_ACCMODE | os.O_CREAT | os.O_TRUNC | os.O_APPEND))
        return original(name, flags, *rest, **options)

    monkeypatch.setattr(os, "open", watched)
    copied(card, [])
    assert modes == [os.O_RDONLY]
