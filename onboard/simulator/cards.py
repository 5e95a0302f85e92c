"""Make card images with a real FAT file system, by MicroPython's own VfsFat in the unix port."""

import subprocess
from pathlib import Path

from onboard.simulator.runners import unix_command

LOG_PATH = "LOFTBOOK.LOG"

# Runs on the unix port. The log file is filled with zeros, so that it lies in one piece and unwritten blocks
# read as zeros.
_SCRIPT = """
import sys, vfs
class Image:
    def __init__(self, path):
        self.file = open(path, "r+b")
        self.blocks = self.file.seek(0, 2) // 512
    def readblocks(self, number, buffer, offset=0):
        self.file.seek(number * 512 + offset)
        self.file.readinto(buffer)
    def writeblocks(self, number, buffer, offset=0):
        self.file.seek(number * 512 + offset)
        self.file.write(buffer)
    def ioctl(self, operation, argument):
        if operation == 4:
            return self.blocks
        if operation == 5:
            return 512
        return 0
image = Image(sys.argv[-3])
vfs.VfsFat.mkfs(image)
vfs.mount(image, "/card")
with open("/card/README.TXT", "w") as file:
    file.write("This card belongs to the balloon payload of a school club. LOFTBOOK.LOG is its log.\\n")
piece = bytes(16384)
with open("/card/" + sys.argv[-1], "wb") as file:
    for i in range(int(sys.argv[-2]) // len(piece)):
        file.write(piece)
vfs.umount("/card")
image.file.close()
"""


def make_card(path, megabytes, log_megabytes=None):
    """Write a card image with an empty FAT file system and the log file.

    path: Path of the image; megabytes: its size, 16 or more (FAT16 needs 4085 clusters); log_megabytes: of the log
    file, also a fraction; three quarters of the card if not given.
    Raises RuntimeError with the interpreter's words if the file system cannot be made.
    """
    path = Path(path)
    with open(path, "wb") as file:
        file.truncate(megabytes << 20)
    log_bytes = (megabytes << 20) * 3 // 4 if log_megabytes is None else int(log_megabytes * (1 << 20))
    command = [*unix_command("4m"), "-c", _SCRIPT, str(path), str(log_bytes), LOG_PATH]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True)
    if done.returncode != 0:
        raise RuntimeError(f"cannot make the file system of {path.name}: {done.stdout}{done.stderr}".strip())
