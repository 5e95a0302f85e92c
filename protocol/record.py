# Records: kind, time as a signed 16-bit difference in ms from the envelope's base tick,
# fixed-point payload whose size the kind gives. Packing allocates nothing: struct.pack_into
# with an argument list (*values) would, so there is one small function a field count.

from struct import calcsize, pack_into

from protocol.constant import const
from protocol.table import KINDS_TEXT, find_kind, split_field
from protocol.wire import missing_value, wire_size

RECORD_HEADER = "Bh"
RECORD_OVERHEAD = calcsize("<" + RECORD_HEADER)
DIFFERENCE_MAX = const(32767)
_DIFFERENCE_MIN = const(-32768)
_HALF = const(1 << 28)  # of TICK_PERIOD: what tick_difference computes stands here once more, because a call is dear
_MASK = const((1 << 29) - 1)


# MicroPython takes the frame of a function with more than eleven locals and stack words from the heap, at each call,
# which costs as much as the packing itself: so `add` keeps below that, and packing is a function of its own.


def _pack2(layout, buffer, at, tick):
    v = layout.values
    pack_into(layout.format, buffer, at, layout.number, tick, v[0], v[1])


def _pack3(layout, buffer, at, tick):
    v = layout.values
    pack_into(layout.format, buffer, at, layout.number, tick, v[0], v[1], v[2])


def _pack6(layout, buffer, at, tick):
    v = layout.values
    pack_into(layout.format, buffer, at, layout.number, tick, v[0], v[1], v[2], v[3], v[4], v[5])


def _pack7(layout, buffer, at, tick):
    v = layout.values
    pack_into(layout.format, buffer, at, layout.number, tick, v[0], v[1], v[2], v[3], v[4], v[5], v[6])


def _pack11(layout, buffer, at, tick):
    v = layout.values
    pack_into(
        layout.format, buffer, at, layout.number, tick, v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7], v[8], v[9],
        v[10],
    )


_PACKERS = {2: _pack2, 3: _pack3, 6: _pack6, 7: _pack7, 11: _pack11}  # by the number of fields


class Layout:
    """How one kind of record is packed. `values` is the kind's working list, one integer (or
    bytes) a field in table order; a driver fills it, `clear` sets every field to missing.
    """

    def __init__(self, name):
        self.number, self._start, self._stop = find_kind(name)
        wires = list(self._wires())
        self.format = "<" + RECORD_HEADER + "".join(wires)
        missing = [missing_value(wire) for wire in wires]
        for i in range(len(missing)):
            if missing[i] is None:
                missing[i] = bytes(wire_size(wires[i]))
        self.size = calcsize(self.format)
        self.missing = tuple(missing)
        self.values = missing
        self.packer = _PACKERS[len(missing)]

    def _wires(self):
        # The second words of the fields' lines behind "field": cut out one by one, to leave little garbage behind.
        line = self._start
        while line < self._stop:
            start = KINDS_TEXT.find(b" ", line + len(b"field ")) + 1
            stop = KINDS_TEXT.find(b" ", start)
            yield KINDS_TEXT[start:stop].decode()
            line = KINDS_TEXT.find(b"\n", stop) + 1

    def clear(self):
        """Set every field to its missing value."""
        values = self.values
        missing = self.missing
        for i in range(len(values)):
            values[i] = missing[i]

    def _line(self, field):
        # Where the field's line begins.
        start = KINDS_TEXT.find(("field " + field + " ").encode(), self._start, self._stop)
        if start < 0:
            raise ValueError(field)
        return start

    def index(self, field):
        """The position of a field in `values`, by name. Raises ValueError if there is none."""
        return KINDS_TEXT.count(b"\n", self._start, self._line(field))

    def divisor(self, field):
        """The divisor of a field, by name. Raises ValueError if there is none."""
        start = self._line(field) + len(b"field ")
        return split_field(KINDS_TEXT[start : KINDS_TEXT.find(b"\n", start)].decode())[2]

    def pack(self, buffer, at, difference):
        """Write the record of `values` into the buffer. The caller sees to room and range."""
        self.packer(self, buffer, at, difference)


class Envelope:
    """What block and packet builders share: a buffer that records are packed into, from
    `first` up to `limit`, and the base tick that their times are differences from.
    """

    def __init__(self, size, first, limit):
        self.buffer = bytearray(size)
        self.first = first
        self.limit = limit
        self.used = 0
        self.tick = 0
        self.is_open = False

    def fits(self, layout, tick):
        """True if a record of that layout, sampled at that tick, can still go in."""
        difference = ((tick - self.tick + _HALF) & _MASK) - _HALF
        return (
            self.first + self.used + layout.size <= self.limit and _DIFFERENCE_MIN <= difference <= DIFFERENCE_MAX
        )

    def add(self, layout, tick):
        """Pack the layout's values as the next record. Returns False if it does not go in: nothing has changed."""
        at = self.first + self.used
        tick = (tick - self.tick - _DIFFERENCE_MIN) & _MASK
        if tick > DIFFERENCE_MAX - _DIFFERENCE_MIN or at + layout.size > self.limit:
            return False
        layout.packer(layout, self.buffer, at, tick + _DIFFERENCE_MIN)
        self.used += layout.size
        return True
