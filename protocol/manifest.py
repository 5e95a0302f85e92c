# The manifest: the log's description of itself, as lines of text, sent in pieces.
#
# The text is constant in a boot, so pieces of different repeats make one whole.

from binascii import crc32, hexlify

from protocol.table import FORMAT_VERSION, KINDS


def manifest_lines(firmware, payload, flight, boot, configuration, sensors, rates):
    """The manifest's lines but the last, one by one, as bytes.

    firmware: version text; payload: name; flight: 4 bytes; boot: number; configuration: its
    CRC-32 as 8 hexadecimal digits; sensors: (role, chip, words...) tuples; rates: (kind, ms).
    """
    yield _line("loftbook", FORMAT_VERSION)
    yield _line("firmware", firmware)
    yield _line("payload", payload)
    yield _line("flight", str(hexlify(flight), "ascii"))
    yield _line("boot", boot)
    yield _line("configuration", configuration)
    for number, name, fields in KINDS:
        yield _line("kind", number, name)
        for field in fields:
            yield _line("field", field)
    for sensor in sensors:
        yield _line("sensor", *sensor)
    for rate in rates:
        yield _line("rate", *rate)


def _line(*words):
    return (" ".join([str(word) for word in words]) + "\n").encode()


def end_line(crc):
    """The last line, from the CRC-32 of all before it."""
    return _line("end", "{:08x}".format(crc))


def build_manifest(*arguments):
    """The whole manifest as bytes; arguments as for manifest_lines."""
    text = b"".join(list(manifest_lines(*arguments)))
    return text + end_line(crc32(text))


class Pieces:
    """Hands out a text piece by piece as records of a kind that has part, parts and a field for the text.
    The piece is copied into a buffer made once, so that a repeat in flight allocates nothing.
    """

    def __init__(self, layout, field, text):
        self._layout = layout
        self._text = text
        self._part = layout.index("part")
        self._parts = layout.index("parts")
        self._characters = layout.index(field)
        self._piece = bytearray(len(layout.missing[self._characters]))
        size = len(self._piece)
        self.parts = (len(text) + size - 1) // size
        if self.parts > 255:
            raise ValueError("text of " + str(len(text)) + " bytes is too long")
        self.next = self.parts

    def restart(self):
        """Begin again with the first piece."""
        self.next = 0

    def pending(self):
        """True while there are pieces left."""
        return self.next < self.parts

    def fill(self):
        """Put the next piece into the layout's values."""
        piece = self._piece
        text = self._text
        start = self.next * len(piece)
        for i in range(len(piece)):
            piece[i] = text[start + i] if start + i < len(text) else 0
        values = self._layout.values
        values[self._part] = self.next
        values[self._parts] = self.parts
        values[self._characters] = piece
        self.next += 1
