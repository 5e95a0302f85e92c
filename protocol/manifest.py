# The manifest: the log's description of itself, as lines of text, sent in pieces.
#
# The text is constant in a boot, so pieces of different repeats make one whole.

from binascii import crc32, hexlify

from protocol.table import FORMAT_VERSION, KINDS_TEXT


def manifest_texts(firmware, payload, flight, boot, configuration, sensors, rates):
    """The whole manifest as three texts, the table in the middle as it is in memory already.

    firmware: version text; payload: name; flight: 4 bytes; boot: number; configuration: its
    CRC-32 as 8 hexadecimal digits; sensors: yields (role, chip, words...); rates: yields (kind, ms).
    """
    head = "loftbook {}\nfirmware {}\npayload {}\nflight {}\nboot {}\nconfiguration {}\n".format(
        FORMAT_VERSION, firmware, payload, str(hexlify(flight), "ascii"), boot, configuration
    ).encode()
    tail = bytearray()
    for sensor in sensors:
        _add(tail, b"sensor", sensor)
    for rate in rates:
        _add(tail, b"rate", rate)
    tail.extend(end_line(head, tail))
    return head, KINDS_TEXT, tail


def _add(text, word, rest):
    # Bit by bit into one buffer, to leave little garbage behind.
    text.extend(word)
    for part in rest:
        text.extend(b" ")
        text.extend(str(part).encode())
    text.extend(b"\n")


def end_line(head, tail):
    """The last line: the CRC-32 of all before it."""
    return "end {:08x}\n".format(crc32(tail, crc32(KINDS_TEXT, crc32(head)))).encode()


def build_manifest(*arguments):
    """The whole manifest as bytes; arguments as for manifest_texts."""
    return b"".join(manifest_texts(*arguments))


class Pieces:
    """Hands out texts, one behind the other, piece by piece as records of a kind that has part, parts and a field
    for the text. The piece is copied into a buffer made once, so that a repeat in flight allocates nothing.
    """

    def __init__(self, layout, field, *texts):
        self._layout = layout
        self._texts = texts
        self._part = layout.index("part")
        self._parts = layout.index("parts")
        self._characters = layout.index(field)
        self._piece = bytearray(len(layout.missing[self._characters]))
        length = sum([len(text) for text in texts])
        self.parts = (length + len(self._piece) - 1) // len(self._piece)
        if self.parts > 255:
            raise ValueError("text of " + str(length) + " bytes is too long")
        self.next = self.parts

    def restart(self):
        """Begin again with the first piece."""
        self.next = 0
        self._text = 0  # which text the next piece begins in
        self._at = 0  # and where

    def pending(self):
        """True while there are pieces left."""
        return self.next < self.parts

    def fill(self):
        """Put the next piece into the layout's values."""
        piece = self._piece
        texts = self._texts
        for i in range(len(piece)):
            while self._text < len(texts) and self._at == len(texts[self._text]):
                self._text += 1
                self._at = 0
            if self._text < len(texts):
                piece[i] = texts[self._text][self._at]
                self._at += 1
            else:
                piece[i] = 0
        values = self._layout.values
        values[self._part] = self.next
        values[self._parts] = self.parts
        values[self._characters] = piece
        self.next += 1
