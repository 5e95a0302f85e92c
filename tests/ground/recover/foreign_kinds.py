"""Manifests and records of kinds that this program does not know."""

from struct import pack
from zlib import crc32

from built_images import Writer


def proven(lines):
    """Manifest text of these lines, with its last line."""
    text = "".join(line + "\n" for line in lines).encode()
    return text + b"end %08x\n" % crc32(text)


class AnyRecord:
    """Stands for a Layout of a kind that this program does not know."""

    format = "<Bh"

    def __init__(self, number, payload):
        self.size = 3 + len(payload)
        self.number, self.values = number, payload

    def packer(self, _, buffer, at, difference):
        """As Layout.packer."""
        buffer[at:at + self.size] = pack(self.format, self.number, difference) + self.values


def newer_lines():
    """The lines of the test flight's manifest, with the foreign kind."""
    lines = Writer().text.decode().splitlines()[:-1]
    return [*lines, "kind 200 ozone further", "field a B 1 1 further", "field b i 1000 ppm", "colour blue"]
