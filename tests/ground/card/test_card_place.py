"""Where an image may not go: onto the card itself, or onto another part of it."""

import os
import stat
from pathlib import Path

import pytest

from ground.card import place
from ground.card.place import check_place, lies_on, whole_drive
from ground.errors import LoftbookError

# Names as Linux (kernel documentation, admin-guide/devices.txt) and Darwin give them; numbers invented.
NODES = {
    0x800: "sda", 0x801: "sda1", 0x1B0: "sdaa", 0x1B1: "sdaa1", 0xB300: "mmcblk0", 0xB301: "mmcblk0p1",
    0xB308: "mmcblk1", 0x10300: "nvme0n1", 0x10301: "nvme0n1p1", 0x700: "loop0",
    0x101: "disk2", 0x102: "disk2s1",
}
NUMBERS = {name: number for number, name in NODES.items()}


@pytest.mark.parametrize(("name", "drive"), [
    ("sda", "sda"), ("sda1", "sda"), ("sdaa1", "sdaa"), ("mmcblk0", "mmcblk0"), ("mmcblk0p1", "mmcblk0"),
    ("nvme0n1", "nvme0n1"), ("nvme0n1p1", "nvme0n1"), ("loop0", "loop0"), ("disk2s1", "disk2"),
    ("sdb1", "sdb1"),
])
def test_a_part_is_known_by_its_name(name, drive):
    assert whole_drive(name, set(NUMBERS)) == drive


@pytest.fixture
def mounted(monkeypatch):
    """Pretends that the file system of a folder is on one device, and that /dev/... are devices."""
    monkeypatch.setattr(place, "drive_names", lambda: NODES)
    original = os.stat

    def mount(folder, name):
        def status(path, **options):
            if Path(path) == folder:
                return os.stat_result((stat.S_IFDIR, 0, NUMBERS[name], 0, 0, 0, 0, 0, 0, 0))
            if str(path).startswith("/dev/"):
                number = NUMBERS[Path(path).name]
                return os.stat_result((stat.S_IFBLK, 0, 0, 0, 0, 0, 0, 0, 0, 0), {"st_rdev": number})
            return original(path, **options)

        monkeypatch.setattr(os, "stat", status)

    return mount


@pytest.mark.parametrize(("device", "mount", "same"), [
    ("sda", "sda", True), ("sda", "sda1", True), ("sda1", "sda1", True), ("mmcblk0", "mmcblk0p1", True),
    ("mmcblk0p1", "mmcblk0", True), ("disk2", "disk2s1", True), ("sda", "sdaa1", False),
    ("sda1", "mmcblk0p1", False),
    ("mmcblk1", "mmcblk0p1", False), ("nvme0n1", "sda1", False),
])
def test_a_folder_on_the_card_is_found_out(mounted, tmp_path, device, mount, same):
    mounted(tmp_path, mount)
    assert lies_on(tmp_path, f"/dev/{device}") is same


class Card:
    is_drive, path, size = True, "/dev/mmcblk0", 512


def test_an_image_on_the_card_itself_is_refused(mounted, tmp_path):
    mounted(tmp_path, "mmcblk0p1")
    with pytest.raises(LoftbookError, match="lies on /dev/mmcblk0 itself, which is never written"):
        check_place(tmp_path / "card.img", Card)
    mounted(tmp_path, "sda1")
    check_place(tmp_path / "card.img", Card)


def test_a_folder_that_is_not_there_is_named(tmp_path):
    with pytest.raises(LoftbookError, match="there is no folder .*/copies to put it in; make it first"):
        check_place(tmp_path / "copies" / "card.img", Card)
