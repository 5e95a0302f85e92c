# GNSS receiver on a UART: NMEA 0183 sentences RMC and GGA of any talker, and, where the receiver offers
# it, PUBX,00 for the vertical speed. Sources: NMEA 0183 as described in the u-blox M8 receiver description,
# "NMEA protocol"; PUBX,00 from the same.
#
# Sentences of one epoch are collected by their time of day; integers only, nothing is allocated.

from protocol.constant import const
from protocol.record import Layout
from protocol.tick import tick_add

_LINE_MAX = const(120)  # longest sentence that is taken; NMEA allows 82, PUBX,00 is longer
_FIELDS_MAX = const(24)
_NONE = const(-0x40000000)  # no number in the field; no reading is this large
_KNOTS_MAX = const(1200000)  # thousandths: more than any receiver reports, less than the field holds
_HEIGHT_MIN = const(-100000)  # hundredths of a metre
_HEIGHT_MAX = const(10000000)
_NO_TIME = const(-1)  # the epoch of a receiver that does not know the time yet

_RMC = const(1)
_GGA = const(2)
_PUBX = const(3)

# The places of the fields in a fix record; a test compares them with protocol/table.py.
_LATITUDE = const(0)
_LONGITUDE = const(1)
_HEIGHT = const(2)
_SPEED = const(3)
_COURSE = const(4)
_VERTICAL_SPEED = const(5)
_SATELLITES = const(6)
_QUALITY = const(7)
_HDOP = const(8)
_DAY = const(9)
_TIME_OF_DAY = const(10)

_DAYS_BEFORE = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334)


def days_since_1970(year, month, day):
    """Days from 1970-01-01 to a date from 2000 to 2099."""
    days = (year - 1970) * 365 + (year - 1969) // 4 + _DAYS_BEFORE[month - 1] + day - 1
    return days + 1 if month > 2 and year % 4 == 0 else days


class NmeaReader:
    """Collects the bytes of a receiver into fix records.

    baud: of the link; from it the arrival of an epoch's first character is reckoned.
    on_epoch: called without arguments when an epoch is complete: its values stand in `layout`, the tick of
    its first character in `tick`.
    """

    def __init__(self, baud, on_epoch):
        self.layout = Layout("fix")
        self._on_epoch = on_epoch
        divisor = self.layout.divisor
        self._degree = divisor("latitude")
        self._minute = self._degree // 1000000
        self._knot = 900000 // divisor("speed")
        self._no_position = self.layout.missing[_LATITUDE]
        self._no_height = self.layout.missing[_HEIGHT]
        self._baud = baud
        self._line = bytearray(_LINE_MAX)
        self._length = -1  # characters in the line; -1 while no sentence is open
        self._starts = [0] * (_FIELDS_MAX + 1)  # where each field begins, and the end of the last
        self._fields = 0
        self._line_tick = 0
        self._epoch = _NONE  # time of day of the epoch being collected, _NO_TIME if it has none
        self.tick = 0  # of the epoch's first character
        self.bad = 0  # sentences whose check sum or numbers were wrong

    def feed(self, buffer, count, now):
        """Take `count` received bytes that were there at the tick `now`."""
        for i in range(count):
            byte = buffer[i]
            if byte == 0x24:  # $
                self._length = 0
                self._line_tick = tick_add(now, -((count - i) * 10000 // self._baud))
            elif self._length < 0:
                continue
            elif byte == 0x0A:
                if self._sentence():
                    self._collect()
                self._length = -1
            elif self._length >= _LINE_MAX:
                self._length = -1
            else:
                self._line[self._length] = byte
                self._length += 1

    def finish(self):
        """End the epoch, if one is being collected: the receiver has paused."""
        if self._epoch != _NONE:
            self._epoch = _NONE
            self._on_epoch()

    def _sentence(self):
        # Check the line's sum and find its fields. True if it is right.
        line = self._line
        length = self._length
        while length and line[length - 1] in (0x0D, 0x20):
            length -= 1
        if length < 7 or line[length - 3] != 0x2A:  # *
            self.bad += 1
            return False
        total = 0
        starts = self._starts
        starts[0] = 0
        fields = 1
        for i in range(length - 3):
            byte = line[i]
            total ^= byte
            if byte == 0x2C:
                if fields >= _FIELDS_MAX:
                    return False
                starts[fields] = i + 1
                fields += 1
        starts[fields] = length - 2
        self._fields = fields
        if total != _hex(line[length - 2]) << 4 | _hex(line[length - 1]):
            self.bad += 1
            return False
        return True

    def _kind(self):
        line = self._line
        if line[0] == 0x50 and line[1] == 0x55 and line[4] == 0x2C and line[6] == 0x30:  # PU..,.0
            return _PUBX if self._fields > 13 else 0
        if line[5] != 0x2C:
            return 0
        if line[2] == 0x52 and line[3] == 0x4D and line[4] == 0x43:
            return _RMC if self._fields > 9 else 0
        if line[2] == 0x47 and line[3] == 0x47 and line[4] == 0x41:
            return _GGA if self._fields > 9 else 0
        return 0

    def _collect(self):
        kind = self._kind()
        if not kind:
            return
        time = self._time_of_day(2 if kind == _PUBX else 1)
        values = self.layout.values
        if time == _NONE:
            if self._letter(2 if kind == _PUBX else 1):
                self.bad += 1
                return
            time = _NO_TIME
        if time != self._epoch:
            self.finish()
            self.layout.clear()
            self._epoch = time
            self.tick = self._line_tick
            if time != _NO_TIME:
                values[_TIME_OF_DAY] = time
        if kind == _RMC:
            taken = self._take_rmc(values)
        elif kind == _GGA:
            taken = self._take_gga(values)
        else:
            taken = self._take_pubx(values)
        if not taken:
            self.bad += 1

    # Eight bits of check sum let one hit sentence in 256 through, so each number must also be possible; a
    # sentence with one that is not is dropped whole. Each of these returns False then.

    def _take_rmc(self, values):
        date = self._fixed(9, 0)
        speed = self._fixed(7, 3)
        course = self._fixed(8, 2)
        if date != _NONE:
            if not (1 <= date // 10000 <= 31 and 1 <= date // 100 % 100 <= 12):
                return False
            values[_DAY] = days_since_1970(2000 + date % 100, date // 100 % 100, date // 10000)
        if self._letter(2) != 0x41 or values[_QUALITY] == 0:  # A: valid
            return True
        if not (-1 < speed <= _KNOTS_MAX or speed == _NONE) or not (-1 < course <= 36000 or course == _NONE):
            return False
        if not self._take_position(values, 3):
            return False
        if speed != _NONE:
            values[_SPEED] = (speed * 463 + self._knot // 2) // self._knot  # 1 knot = 463/900 m/s
        if course != _NONE:
            values[_COURSE] = course
        return True

    def _take_gga(self, values):
        quality = self._fixed(6, 0)
        satellites = self._fixed(7, 0)
        hdop = self._fixed(8, 1)
        height = self._fixed(9, 2)
        if not 0 <= quality <= 9 or not (-1 < satellites <= 254 or satellites == _NONE):
            return False
        if quality == 0:
            values[_LATITUDE] = values[_LONGITUDE] = self._no_position
            values[_HEIGHT] = self._no_height
        elif not _HEIGHT_MIN <= height <= _HEIGHT_MAX and height != _NONE:
            return False
        elif not self._take_position(values, 2):
            return False
        elif height != _NONE:
            values[_HEIGHT] = height
        values[_QUALITY] = quality
        if satellites != _NONE:
            values[_SATELLITES] = satellites
        if hdop >= 0:
            values[_HDOP] = min(hdop, 254)
        return True

    def _take_pubx(self, values):
        if not self._letter(8) in (0x47, 0x44, 0x52):  # G, D or R: a solution; NF is none, TT is time only
            return True
        down = self._fixed(13, 2)
        if down != _NONE:
            if not -32767 <= down <= 32767:
                return False
            values[_VERTICAL_SPEED] = -down
        return True

    def _take_position(self, values, field):
        latitude = self._angle(field, 90)
        longitude = self._angle(field + 2, 180)
        south = self._letter(field + 1)
        west = self._letter(field + 3)
        if latitude == _NONE or longitude == _NONE or south not in (0x4E, 0x53) or west not in (0x45, 0x57):
            return False
        values[_LATITUDE] = -latitude if south == 0x53 else latitude
        values[_LONGITUDE] = -longitude if west == 0x57 else longitude
        return True

    def _letter(self, field):
        # The first character of a field, 0 if the field is empty.
        start = self._starts[field]
        return self._line[start] if start < self._starts[field + 1] - 1 else 0

    def _fixed(self, field, decimals):
        # The number in a field times 10**decimals, further decimals cut off; _NONE if it is none.
        return self._number(self._starts[field], self._starts[field + 1] - 1, decimals)

    def _number(self, start, stop, decimals):
        line = self._line
        number = 0
        after = -1  # decimals taken so far; -1 before the point
        negative = False
        digits = 0
        for i in range(start, stop):
            byte = line[i]
            if byte == 0x2D and i == start:
                negative = True
            elif byte == 0x2E and after < 0:
                after = 0
            elif 0x30 <= byte <= 0x39 and digits < 9:
                if after < decimals:
                    number = number * 10 + byte - 0x30
                    digits += 1
                    if after >= 0:
                        after += 1
            else:
                return _NONE
        if digits == 0:
            return _NONE
        for _ in range(max(after, 0), decimals):
            number *= 10
        return -number if negative else number

    def _time_of_day(self, field):
        # hhmmss.sss in ms since midnight.
        number = self._fixed(field, 3)
        if number < 0:
            return _NONE
        seconds = number // 1000
        if seconds // 10000 > 23 or seconds // 100 % 100 > 59 or seconds % 100 > 60:  # 60: a leap second
            return _NONE
        return (seconds // 10000 * 3600 + seconds // 100 % 100 * 60 + seconds % 100) * 1000 + number % 1000

    def _angle(self, field, most):
        # dddmm.mmmmm in the fix record's units, _NONE if it is beyond `most` degrees; degrees and minutes apart keep the numbers small.
        line = self._line
        start = self._starts[field]
        stop = self._starts[field + 1] - 1
        point = start
        while point < stop and line[point] != 0x2E:
            point += 1
        if point - start < 3:
            return _NONE
        degrees = 0
        for i in range(start, point - 2):
            if not 0x30 <= line[i] <= 0x39:
                return _NONE
            degrees = degrees * 10 + line[i] - 0x30
        minutes = self._number(point - 2, stop, 5)
        if not 0 <= minutes < 6000000 or degrees > most:
            return _NONE
        angle = degrees * self._degree + (minutes * self._minute + 3) // 6
        return angle if angle <= most * self._degree else _NONE


def _hex(byte):
    if 0x30 <= byte <= 0x39:
        return byte - 0x30
    if 0x41 <= byte <= 0x46:
        return byte - 0x37
    return 0x100  # no hexadecimal digit: no sum matches
