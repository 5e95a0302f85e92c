"""Whether an image may be put where the user wants it."""

import os
import re
import shutil
import stat

from ground.card.image_map import map_path
from ground.errors import LoftbookError


def check_place(image, card):
    """Refuse an image that cannot be written, or would be written to the card, before anything is read.

    image: Path; card: Readable. Raises LoftbookError.
    """
    check_free(image)
    if not image.parent.is_dir():
        raise LoftbookError(f"{image}: there is no folder {image.parent} to put it in; make it first")
    if card.is_drive and lies_on(image.parent, card.path):
        raise LoftbookError(
            f"{image}: lies on {card.path} itself, which is never written; name another place"
        )
    free = shutil.disk_usage(image.parent).free
    if free < card.size:
        raise LoftbookError(
            f"{image}: needs {card.size} bytes and its disk has {free} left; make room, or name another place"
        )


def check_free(image):
    """Raises LoftbookError if the image or its map exists."""
    for path in (image, map_path(image)):
        if path.exists() or path.is_symlink():
            raise LoftbookError(f"{path}: exists already and is not overwritten; name a new image")


def lies_on(folder, device):
    """True if a folder is in a file system on this block device, or on any part of the same drive."""
    number, own = os.stat(folder).st_dev, os.stat(device).st_rdev
    if number == own:
        return True
    names = drive_names()
    if number not in names or own not in names:
        return False
    known = set(names.values())
    return whole_drive(names[number], known) == whole_drive(names[own], known)


def drive_names():
    """Device number -> name in /dev of every block device there."""
    names = {}
    for entry in os.scandir("/dev"):
        status = entry.stat(follow_symlinks=False)
        if stat.S_ISBLK(status.st_mode):
            names[status.st_rdev] = entry.name
    return names


def whole_drive(name, known):
    """The drive of which a device is a part: sdb of sdb1, mmcblk0 of mmcblk0p1, disk2 of disk2s1; the name
    itself if it is none. known: names of all block devices.
    """
    match = re.fullmatch(r"(.*\d)[ps]\d+|(.*\D)\d+", name)
    drive = match and (match[1] or match[2])
    return drive if drive in known else name
