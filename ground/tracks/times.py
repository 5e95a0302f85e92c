"""Times as people and programs write them, to milliseconds since 1970 in UTC."""

import re
from datetime import date

_DATE = (
    r"(?:(?P<y>\d{4})[-/.](?P<m>\d{1,2})[-/.](?P<d>\d{1,2})\.?"
    r"|(?P<a>\d{1,2})(?P<sep>[-/.])(?P<b>\d{1,2})[-/.](?P<y2>\d{4})"
    r"|(?P<c>\d{4})(?P<cm>\d{2})(?P<cd>\d{2}))"
)
_TIME = (
    r"(?P<h>\d{1,2}):(?P<min>\d{2})(?::(?P<s>\d{2})(?:[.,](?P<f>\d{1,9}))?)?(?:\s*(?P<half>[ap])\.?m\.?)?"
    r"\s*(?P<zone>z|utc|gmt|[+-]\d{2}(?::?\d{2})?)?"
)
_COMPACT = r"(?P<h>\d{2})(?P<min>\d{2})(?P<s>\d{2})(?:[.,](?P<f>\d{1,9}))?(?P<zone>z|[+-]\d{2}(?::?\d{2})?)?"
_FORMS = tuple(
    re.compile(rf"^{_DATE}[\st]+{time}$", re.IGNORECASE | re.ASCII) for time in (_TIME, _COMPACT)
)
_NUMBER = re.compile(r"^\d{9,17}(?:[.,]\d+)?$", re.ASCII)
_DAY_MS = 86_400_000
_EPOCH = date(1970, 1, 1).toordinal()


class Times:
    """Reads the times of one file. lacks_zone: some did not say their zone."""

    def __init__(self, day_first=None):
        """day_first: of dates such as 3/4/2026, which are ambiguous; None: not known."""
        self._day_first = day_first
        self.lacks_zone = False

    def read(self, text):
        """Give ms since 1970-01-01. Raises ValueError, which says what is wrong, half a sentence."""
        text = text.strip()
        if _NUMBER.match(text):
            return _epoch_ms(float(text.replace(",", ".")))
        found = next((match for match in (form.match(text) for form in _FORMS) if match), None)
        if not found:
            has_date = re.search(r"\d[-/.]\d{1,2}[-/.]\d", text)
            what = "is no time that can be read" if has_date or ":" not in text else "has no date"
            raise ValueError(what)
        return self._date_ms(found.groupdict()) + self._time_ms(found.groupdict())

    def _date_ms(self, part):
        if part["y"] or part["c"]:
            names = ("y", "m", "d") if part["y"] else ("c", "cm", "cd")
            year, month, day = (part[name] for name in names)
        else:
            year, (day, month) = part["y2"], (part["a"], part["b"])
            day_first = True if part["sep"] == "." else self._day_first
            if day_first is None:
                raise ValueError("may be day/month or month/day")
            if not day_first:
                day, month = month, day
        try:
            return (date(int(year), int(month), int(day)).toordinal() - _EPOCH) * _DAY_MS
        except ValueError:
            raise ValueError("is no date") from None

    def _time_ms(self, part):
        hours, minutes, seconds = int(part["h"]), int(part["min"]), int(part["s"] or 0)
        half = (part.get("half") or "").lower()
        if half:
            hours = hours % 12 + (12 if half == "p" else 0)
        if hours > 23 or minutes > 59 or seconds > 60:  # 60: a leap second
            raise ValueError("is no time of day")
        zone = (part["zone"] or "").lower()
        self.lacks_zone |= not zone
        behind = 0
        if zone[:1] in ("+", "-") and zone:
            digits = zone[1:].replace(":", "").ljust(4, "0")
            behind = (int(digits[:2]) * 60 + int(digits[2:])) * (1 if zone[0] == "+" else -1)
        fraction_ms = round(float("0." + (part["f"] or "0")) * 1000)
        return ((hours * 60 + minutes - behind) * 60 + seconds) * 1000 + fraction_ms


def _epoch_ms(number):
    """Seconds, milliseconds or microseconds since 1970, by their size: 1e11 s is the year 5138, 1e11 ms is 1973."""
    return round(number * 1000 if number < 1e11 else number if number < 1e14 else number / 1000)


def day_comes_first(texts):
    """Tell from many dates such as 21/11/2026 whether the day comes first; None if they do not show it."""
    for text in texts:
        found = re.match(r"\s*(\d{1,2})[-/](\d{1,2})[-/]\d{4}", text)
        if found and int(found.group(1)) > 12:
            return True
        if found and int(found.group(2)) > 12:
            return False
    return None
