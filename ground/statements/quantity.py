"""Quantities for people: a number with its unit, in SI and in the units that imperial-minded readers want."""

from dataclasses import dataclass

from ground import units

# SI unit -> (imperial unit, function of the value in SI, how many decimals the imperial number has more).
_TWINS = {
    "m": ("ft", units.feet, 0),
    "km": ("mi", lambda km: units.miles(1000.0 * km), 0),
    "m/s": ("mph", units.miles_per_hour, 0),
    "degC": ("degF", units.degrees_fahrenheit, 0),
    "K": ("degF", lambda kelvin: 1.8 * kelvin, 0),  # a difference of temperatures
    "K/km": ("degF per 1000 ft", lambda rate: 1.8 * units.METRES_PER_FOOT * rate, 0),
    "m/s per km": ("mph per 1000 ft", lambda rate: units.miles_per_hour(units.METRES_PER_FOOT * rate), 0),
    "hPa": ("inHg", units.inches_of_mercury, 2),
    "m2": ("ft2", lambda area: area / units.METRES_PER_FOOT**2, 0),
    "kg": ("lb", units.pounds, 0),
    "kg/m2": ("lb/ft2", lambda load: units.pounds(load) * units.METRES_PER_FOOT**2, 1),
}
_CLIMB_TWIN = ("ft/min", units.feet_per_minute, -2)
_WORDS = {
    "1": "", "percent": "%", "deg": "degrees", "degC": "°C", "degF": "°F", "m2": "m²", "ft2": "ft²",
    "degF per 1000 ft": "°F per 1000 ft", "kg/m2": "kg/m²", "lb/ft2": "lb/ft²",
    "m/s2": "m/s²", "deg/s": "°/s", "V/K": "V/K",
}  # fmt: skip
CANNOT_TELL = "unknown"


@dataclass(frozen=True)
class Quantity:
    """value: float in unit, or None; decimals: digits after the point; climb: the twin of m/s is ft/min."""

    value: float | None
    unit: str
    decimals: int = 0
    climb: bool = False

    def metric(self):
        """Write it in SI units, such as "12 207 m"."""
        return _written(self.value, self.unit, self.decimals)

    def imperial(self):
        """Write it in imperial units; where a unit has no twin, as metric."""
        name, number = twin(self.value, self.unit, self.climb)
        if name is None:
            return self.metric()
        more = (_CLIMB_TWIN if self.climb and self.unit == "m/s" else _TWINS[self.unit])[2]
        if number is not None and self.unit == "m":
            number = _as_round(number, self.value)
        return _written(number, name, max(self.decimals + more, 0))


def twin(value, unit, climb=False):
    """Give (imperial unit, value in it) of a value in an SI unit; (None, None) if the unit has no twin.

    value: float, array, or None (then the second of the pair is None).
    """
    name, convert, _ = _CLIMB_TWIN if climb and unit == "m/s" else _TWINS.get(unit, (None, None, 0))
    return name, None if convert is None or value is None else convert(value)


def _as_round(number, value):
    """The twin of a round number, rounded too: 2000 m are 6600 ft, but 2013 m are 6604 ft."""
    step = 1
    while value and step < 1000 and value % (10 * step) == 0:
        step *= 10
    return round(number / (step // 10)) * (step // 10) if step >= 100 else number


def _written(value, unit, decimals):
    if value is None or value != value:
        return CANNOT_TELL
    number = f"{value:,.{decimals}f}".replace(",", " ")
    if number.strip("-0. ") == "":
        number = number.lstrip("-")  # no "-0"
    word = _WORDS.get(unit, unit)
    return f"{number} {word}" if word else number


def unit_word(unit):
    """Write a unit as people read it: degC as °C, percent as %, 1 as nothing."""
    return _WORDS.get(unit, unit)


def say(template, imperial=False, **parts):
    """Fill a sentence: "{height}" takes the part of that name, a Quantity or anything with a str."""

    def written(part):
        if isinstance(part, Quantity):
            return part.imperial() if imperial else part.metric()
        return str(part)

    return template.format(**{name: written(part) for name, part in parts.items()})
