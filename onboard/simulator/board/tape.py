# Reads a tape: for each device a file of 32-bit little-endian rows, one row a period.
#
# Rows are read in pieces into a buffer made once, so that the virtual board leaves the heap alone too.

import json
from array import array

ROWS_AT_ONCE = 32
SENTENCES_ROW = 512  # bytes: length (2), then the sentences of one second
INDEX_NAME = "tape.json"
SENTENCES_NAME = "gnss.bin"
LOW_NAME = "gnss-low.bin"


class Stream:
    """One device's readings. at(world_ms) selects the row of that time; value(column) reads it."""

    def __init__(self, folder, name, period_ms, columns, rows):
        self._file = open(folder + "/" + name + ".i32", "rb")
        self._period_ms = period_ms
        self._columns = columns
        self._rows = rows
        self._held = array("i", [0] * (ROWS_AT_ONCE * columns))
        self._first = -1  # row number of the first held row
        self._at = 0

    def at(self, world_ms):
        """Select the row for a time in ms from the start of the tape; the last row holds for ever."""
        row = min(world_ms // self._period_ms, self._rows - 1)
        first = row - row % ROWS_AT_ONCE
        if first != self._first:
            self._file.seek(first * self._columns * 4)
            self._file.readinto(self._held)
            self._first = first
        self._at = (row - first) * self._columns

    def value(self, column):
        """The selected row's value in a column."""
        return self._held[self._at + column]


class Sentences:
    """What the GNSS receiver sends, second by second."""

    def __init__(self, folder, rows, name):
        self._file = open(folder + "/" + name, "rb")
        self._rows = rows
        self._row = bytearray(SENTENCES_ROW)
        self._second = -1

    def select(self, second):
        """Hold the sentences of a second. Returns their length in bytes, 0 if there are none."""
        if second < 0 or second >= self._rows:
            return 0
        if second != self._second:
            self._file.seek(second * SENTENCES_ROW)
            self._file.readinto(self._row)
            self._second = second
        return self._row[0] | self._row[1] << 8

    def byte(self, position):
        """A byte of the held sentences."""
        return self._row[2 + position]


class Tape:
    """All streams of a tape folder."""

    def __init__(self, folder):
        with open(folder + "/" + INDEX_NAME) as file:
            index = json.load(file)
        self.length_ms = index["length_ms"]
        self.gnss_delay_ms = index["gnss_delay_ms"]
        self.drift_ppm = index["drift_ppm"]
        self.sentences = Sentences(folder, index["seconds"], SENTENCES_NAME)
        # What a receiver that takes commands says as long as its dynamic model does not fly.
        self.low_sentences = Sentences(folder, index["seconds"], LOW_NAME) if index.get("has_low") else None
        self.streams = {}
        for name in index["streams"]:
            period_ms, columns, rows = index["streams"][name]
            self.streams[name] = Stream(folder, name, period_ms, columns, rows)
