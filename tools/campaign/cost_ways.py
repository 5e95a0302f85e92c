# Three ways to log the same values, for tools/campaign_cost.py. Runs on MicroPython. What is written goes nowhere:
# only what the board itself does is counted.

import json

from onboard.firmware.store import BlockStore
from protocol.block import BLOCK_SIZE
from protocol.record import Layout
from protocol.table import KINDS_TEXT, find_kind


class Card:
    """A log without end; counts the bytes."""

    def __init__(self):
        self.next = 0
        self.bytes = 0

    def prepare(self):
        return self.next

    def room(self):
        return 1000

    def write(self, buffer):
        self.next += 1
        self.bytes += len(buffer)


class Board:
    """Stands still."""

    def ticks_ms(self):
        return 0


class Records:
    """Ours: records in blocks with their CRC-32."""

    def __init__(self, name):
        self.card = Card()
        self._store = BlockStore(self.card, b"\x5f\x3a\x1c\x22", 1, Board())

    def put(self, layout, tick):
        """Log the layout's values. Returns True if a block was written."""
        self._store.emit(layout, tick)
        if not self._store.waiting:
            return False
        self._store.write_one(tick)
        return True


class Lines:
    """A line of text a record, gathered into sectors."""

    def __init__(self, name):
        self.card = Card()
        self._sector = bytearray(BLOCK_SIZE)
        self._used = 0
        self._kind = find_kind(name)[0]

    def put(self, layout, tick):
        """Log the layout's values. Returns True if a sector was written."""
        line = self.line(layout.values, tick)
        end = self._used + len(line)
        if end < BLOCK_SIZE:
            self._sector[self._used : end] = line
            self._used = end
            return False
        rest = BLOCK_SIZE - self._used
        self._sector[self._used :] = line[:rest]
        self.card.write(self._sector)
        self._used = end - BLOCK_SIZE
        self._sector[: self._used] = line[rest:]
        return True


class Csv(Lines):
    """Numbers with commas between them."""

    def __init__(self, name):
        Lines.__init__(self, name)
        self._format = ",".join(["%d"] * (len(Layout(name).values) + 2)) + "\n"

    def line(self, values, tick):
        """The line as bytes."""
        return (self._format % ((self._kind, tick) + tuple(values))).encode()


class Json(Lines):
    """An object with the names of the fields."""

    def __init__(self, name):
        Lines.__init__(self, name)
        _, start, stop = find_kind(name)
        self._names = [line.split(" ")[1] for line in KINDS_TEXT[start:stop].decode().split("\n")[:-1]]

    def line(self, values, tick):
        """The line as bytes."""
        record = {"kind": self._kind, "tick": tick}
        for i in range(len(values)):
            record[self._names[i]] = values[i]
        return (json.dumps(record) + "\n").encode()


WAYS = {"records": Records, "csv": Csv, "json": Json}


def vary(layout, number):
    """Fill in values that differ from record to record and have as many digits as a flight's."""
    for i in range(len(layout.values)):
        missing = layout.missing[i]
        high = 30000 if missing in (-0x8000, 0xFFFF) else 250 if missing == 0xFF else 9000000
        layout.values[i] = high // 2 + (number * 7919 + i * 104729) % (high // 2)
