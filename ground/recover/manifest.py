"""The manifest: from its pieces to a log's description of itself."""

import re
from collections import Counter, defaultdict
from zlib import crc32

from ground.layout import FieldLayout, KindLayout
from ground.recover.result import Manifest
from protocol.block import BLOCK_FIRST, BLOCK_LIMIT
from protocol.record import RECORD_OVERHEAD
from protocol.wire import wire_size

_PAYLOAD_MAX = BLOCK_LIMIT - BLOCK_FIRST - RECORD_OVERHEAD
_ONCE = ("loftbook", "firmware", "payload", "flight", "boot", "configuration")
MANIFEST_KIND = "manifest"
_PORTION = 512  # a whole manifest has 255 pieces at most


class Pieces:
    """Gathers pieces of one boot's manifest; pieces of different repeats make one whole."""

    def __init__(self):
        self._texts = defaultdict(lambda: defaultdict(Counter))

    def add(self, records):
        """KindRecords of the manifest kind, read by this program's own table."""
        self._add(records.values)

    def text_of(self, records):
        """Add records until the text is whole, and return it (see `text`). A long log repeats its
        manifest thousands of times, and the first repeats nearly always do.
        """
        for first in range(0, len(records.values), _PORTION):
            self._add(records.values[first:first + _PORTION])
            text = self.text()
            if text is not None:
                return text
        return None

    def _add(self, values):
        part, parts, text = (values[name] for name in ("part", "parts", "text"))
        for i in range(len(text)):
            if part[i] < parts[i]:
                self._texts[int(parts[i])][int(part[i])][bytes(text[i])] += 1

    def text(self):
        """The whole text, proven by its last line's CRC-32, as bytes; None if it is not complete."""
        for parts, texts in self._texts.items():
            if len(texts) == parts:
                # A piece can be misread (unknown kinds before it), but hardly the same way twice.
                text = b"".join(texts[i].most_common(1)[0][0] for i in range(parts))
                if is_proven(text):
                    return text
        return None


def is_proven(text):
    """True if the text ends with a line `end` whose CRC-32 is that of everything before it."""
    before, found, last = text.rpartition(b"end ")
    return bool(found) and last == b"%08x\n" % crc32(before)


def parse_manifest(text):
    """Manifest from proven text (bytes). Lines that are malformed or unknown (of a newer writer) are
    passed over, and so are further words on a line. A kind with a field of unknown size is
    left out, so that its records are of unknown size too.
    """
    once = dict.fromkeys(_ONCE, "")
    kinds, sensors, rates = [], {}, {}
    lines = text.decode("utf-8", "replace").split("\n")
    for line in lines:
        word, _, rest = line.partition(" ")
        words = rest.split()
        if word in once:
            once[word] = once[word] or rest
        elif word == "kind":
            kinds.append((words, []))
        elif word == "field" and kinds:
            kinds[-1][1].append(words)
        elif word == "sensor" and len(words) >= 2:
            sensors[words[0]] = (words[1], tuple(words[2:]))
        elif word == "rate" and len(words) >= 2 and _number(words[1]) is not None:
            rates[words[0]] = _number(words[1])
    return Manifest(
        _first_number(once["loftbook"]), once["firmware"], once["payload"], _flight(once["flight"]),
        _first_number(once["boot"]), _first(once["configuration"]), _kinds(kinds), sensors, rates,
        "\n".join(lines),
    )


def _first(rest):
    return (rest.split() or [""])[0]


def _flight(rest):
    # Flights name folders and files: nothing else may pass for one.
    word = _first(rest)
    return word if re.fullmatch("[0-9a-f]{8}", word) else ""


def _first_number(rest):
    return _number(_first(rest)) or 0


def _number(word):
    return int(word) if word.isascii() and word.isdigit() and len(word) < 10 else None


def _kinds(described):
    kinds, taken = [], set()
    for words, fields in described:
        layout = _kind(words, fields)
        if layout and taken.isdisjoint((layout.number, layout.name)):
            kinds.append(layout)
            taken.update((layout.number, layout.name))
    return tuple(kinds)


def _kind(words, fields):
    if len(words) < 2 or not 1 <= (_number(words[0]) or 0) <= 255:
        return None
    layouts, size = [], 0
    for field in fields:
        if len(field) < 4 or not _number(field[2]):
            return None
        try:
            width = wire_size(field[1])
        except ValueError:
            return None
        layouts.append(FieldLayout(field[0], field[1], _number(field[2]), field[3]))
        size += width
        if width == 0 or size > _PAYLOAD_MAX:
            return None
    if len({layout.name for layout in layouts}) < len(layouts):
        return None
    return KindLayout(_number(words[0]), words[1], tuple(layouts))
