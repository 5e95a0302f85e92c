# A short tape, again and again for days: the receiver's UTC goes on, through midnights, a leap second and a
# week number that begins anew; the battery runs down. Runs on CPython and MicroPython.
#
# Sources: IS-GPS-200 (the week number of GPS has 10 bits: 1024 weeks); ITU-R TF.460-6 (a positive leap second
# is 23:59:60). Date of a day number: H. Hinnant, "chrono-compatible low-level date algorithms"
# (civil_from_days).

from protocol.constant import const

_DAY_S = const(86400)
_ROLLOVER_DAYS = const(7168)
_ROW = const(512)
_BATTERY = const(1)  # column of the stream "analog"
_PLAN = (
    "length_ms", "start_day", "start_s", "leap_s", "rollover_from_s", "rollover_until_s", "battery_permille",
)


def civil(days):
    """(year, month, day) of a number of days since 1970-01-01."""
    days += 719468
    era = days // 146097
    of_era = days - era * 146097
    year = (of_era - of_era // 1460 + of_era // 36524 - of_era // 146096) // 365
    of_year = of_era - (365 * year + year // 4 - year // 100)
    month = (5 * of_year + 2) // 153
    day = of_year - (153 * month + 2) // 5 + 1
    month = month + 3 if month < 10 else month - 9
    return year + era * 400 + (month <= 2), month, day


class Plan:
    """What happens when. text: a dict of the names in _PLAN.

    start_day, start_s: UTC at the tape's start; leap_s: second from there that is 23:59:60, -1 if none is;
    rollover_*: from when to when the date is 1024 weeks early; battery_permille: what is left of the
    battery's voltage in the end.
    """

    def __init__(self, text):
        for name in _PLAN:
            setattr(self, name, text[name])

    def utc(self, second):
        """(days since 1970-01-01, second of the day) that the receiver says; 86400 in the leap second."""
        total = self.start_s + second
        if 0 <= self.leap_s <= second:
            total -= 1
        day = total // _DAY_S
        of_day = total - day * _DAY_S
        if second == self.leap_s:
            of_day = _DAY_S
        day += self.start_day
        if self.rollover_from_s <= second < self.rollover_until_s:
            day -= _ROLLOVER_DAYS
        return day, of_day


class PeriodicTape:
    """tape: the Tape that is repeated; plan: a Plan. Has the attributes of a Tape."""

    def __init__(self, tape, plan):
        period_s = tape.length_ms // 1000
        self.length_ms = plan.length_ms
        self.gnss_delay_ms = tape.gnss_delay_ms
        self.drift_ppm = tape.drift_ppm
        self.sentences = _Sentences(tape.sentences, period_s, plan)
        self.streams = {}
        for name in tape.streams:
            stream = _Stream(tape.streams[name], period_s * 1000)
            if name == "analog":
                stream = _Battery(tape.streams[name], period_s * 1000, plan)
            self.streams[name] = stream


class _Stream:
    def __init__(self, stream, period_ms):
        self._stream = stream
        self._period_ms = period_ms

    def at(self, world_ms):
        self._stream.at(world_ms % self._period_ms)

    def value(self, column):
        return self._stream.value(column)


class _Battery(_Stream):
    def __init__(self, stream, period_ms, plan):
        _Stream.__init__(self, stream, period_ms)
        self._seconds = plan.length_ms // 1000
        self._lost = 1000 - plan.battery_permille
        self._left = 1000

    def at(self, world_ms):
        _Stream.at(self, world_ms)
        self._left = 1000 - world_ms // 1000 * self._lost // self._seconds

    def value(self, column):
        value = self._stream.value(column)
        return value // 1000 * self._left if column == _BATTERY else value


class _Sentences:
    # The sentences of the tape's second, with the time and date of the plan.

    def __init__(self, sentences, period_s, plan):
        self._inner = sentences
        self._period_s = period_s
        self._plan = plan
        self._row = bytearray(_ROW)
        self._second = -1
        self._length = 0

    def select(self, second):
        if second < 0:
            return 0
        if second != self._second:
            self._second = second
            self._length = self._inner.select(second % self._period_s)
            for i in range(self._length):
                self._row[i] = self._inner.byte(i)
            self._set_time(*self._plan.utc(second))
        return self._length

    def byte(self, position):
        return self._row[position]

    def _set_time(self, days, of_day):
        if of_day == _DAY_S:
            clock = 235960
        else:
            clock = of_day // 3600 * 10000 + of_day // 60 % 60 * 100 + of_day % 60
        year, month, day = civil(days)
        date = day * 10000 + month * 100 + year % 100
        field = 0
        kind = 0
        check = 0
        row = self._row
        for i in range(self._length):
            byte = row[i]
            if byte == 0x24:  # $: the letters behind it tell which sentence this is
                field = check = 0
                kind = row[i + 3]
                continue
            if byte == 0x2A:  # *
                _put_hexadecimal(row, i + 1, check)
            elif byte == 0x2C:
                field += 1
                if 0x30 <= row[i + 1] <= 0x39:
                    # PUBX,00 has the time in its second field, RMC and GGA in the first; RMC the date in the
                    # ninth.
                    if field == (2 if kind == 0x42 else 1) and row[i + 7] == 0x2E:
                        _put_digits(row, i + 1, clock)
                    elif field == 9 and kind == 0x52:
                        _put_digits(row, i + 1, date)
            check ^= row[i]


def _put_digits(row, at, number):
    for i in range(5, -1, -1):
        row[at + i] = 0x30 + number % 10
        number //= 10


def _put_hexadecimal(row, at, byte):
    for i in (0, 1):
        digit = byte >> 4 * (1 - i) & 15
        row[at + i] = digit + (0x30 if digit < 10 else 0x37)
