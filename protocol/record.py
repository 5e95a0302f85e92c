# Records: kind, time as a signed 16-bit difference in ms from the envelope's base tick,
# fixed-point payload whose size the kind gives. Packing allocates nothing: struct.pack_into
# with an argument list (*values) would, so there is one small function a field count.

from struct import calcsize, pack_into

from protocol.table import KINDS, split_field
from protocol.tick import tick_difference
from protocol.wire import missing_value, wire_size

RECORD_HEADER = "Bh"
RECORD_OVERHEAD = calcsize("<" + RECORD_HEADER)
DIFFERENCE_MIN = -32768
DIFFERENCE_MAX = 32767


def _pack2(f, b, o, k, d, v):
    pack_into(f, b, o, k, d, v[0], v[1])


def _pack3(f, b, o, k, d, v):
    pack_into(f, b, o, k, d, v[0], v[1], v[2])


def _pack6(f, b, o, k, d, v):
    pack_into(f, b, o, k, d, v[0], v[1], v[2], v[3], v[4], v[5])


def _pack7(f, b, o, k, d, v):
    pack_into(f, b, o, k, d, v[0], v[1], v[2], v[3], v[4], v[5], v[6])


def _pack11(f, b, o, k, d, v):
    pack_into(f, b, o, k, d, v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7], v[8], v[9], v[10])


_PACKERS = {2: _pack2, 3: _pack3, 6: _pack6, 7: _pack7, 11: _pack11}


class Layout:
    """How one kind of record is packed. `values` is the kind's working list, one integer (or
    bytes) a field in table order; a driver fills it, `clear` sets every field to missing.
    """

    def __init__(self, name):
        for number, kind_name, fields in KINDS:
            if kind_name == name:
                break
        else:
            raise KeyError(name)
        self.number = number
        self._fields = fields
        wires = [split_field(field)[1] for field in fields]
        self.format = "<" + RECORD_HEADER + "".join(wires)
        self.size = calcsize(self.format)
        self.missing = [
            bytes(wire_size(wire)) if missing_value(wire) is None else missing_value(wire) for wire in wires
        ]
        self.values = list(self.missing)
        self._pack = _PACKERS[len(fields)]

    def clear(self):
        """Set every field to its missing value."""
        values = self.values
        missing = self.missing
        for i in range(len(values)):
            values[i] = missing[i]

    def index(self, field):
        """The position of a field in `values`, by name. Raises ValueError if there is none."""
        beginning = field + " "
        for i in range(len(self._fields)):
            if self._fields[i].startswith(beginning):
                return i
        raise ValueError(field)

    def divisor(self, field):
        """The divisor of a field, by name."""
        return split_field(self._fields[self.index(field)])[2]

    def pack(self, buffer, offset, difference):
        """Write the record of `values` into the buffer. The caller sees to room and range."""
        self._pack(self.format, buffer, offset, self.number, difference, self.values)


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
        if self.first + self.used + layout.size > self.limit:
            return False
        difference = tick_difference(tick, self.tick)
        return DIFFERENCE_MIN <= difference <= DIFFERENCE_MAX

    def add(self, layout, tick):
        """Pack the layout's values as the next record. Ask `fits` first."""
        layout.pack(self.buffer, self.first + self.used, tick_difference(tick, self.tick))
        self.used += layout.size
