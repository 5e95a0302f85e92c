"""The headline of a report: the five figures that tell most of a flight, as far as its data can tell them."""

from dataclasses import dataclass

from ground.page.digits import supported
from ground.page.plot import Words, words
from ground.statements.quantity import Quantity

MOST = 5
# The best first; what the data cannot answer is passed over for the next.
RANKED = (
    "greatest_height", "duration", "coldest_air", "distance", "strongest_wind", "greatest_ground_speed",
    "greatest_fall_speed", "tropopause", "climb_rate", "landing_speed", "burst", "last_fix",
    "data_recovered", "boots",
)  # fmt: skip
_DECIMALS = {"m": 0, "km": 1, "degC": 1, "m/s": 1, "percent": 1}


@dataclass(frozen=True)
class Fact:
    """title: what it is; figure and words: Words, the number and the sentence of the statement."""

    title: str
    figure: Words
    words: Words


def headline(statements):
    """Choose at most five facts; those of low confidence only if there are too few others. Returns list of Fact."""
    known = [statements[key] for key in RANKED if key in statements and statements[key]["value"] is not None]
    known.sort(key=lambda one: one["confidence"] == "low")  # stable, so the rank stays
    return [Fact(one["title"], _figure(one), Words(one["text"], one["text_imperial"])) for one in known[:MOST]]


def _figure(statement):
    value, unit = statement["value"], statement["unit"]
    if statement["id"] == "duration":
        minutes = round(value / 60)
        return words(f"{minutes // 60} h {minutes % 60} min" if minutes >= 60 else f"{minutes} min")
    if unit == "percent":
        value = int(value * 10.0) / 10.0  # rounded down: 100 must mean all
    climb = statement["imperial_unit"] == "ft/min"
    value, decimals = supported(value, statement["uncertainty"], _DECIMALS.get(unit, 0))
    quantity = Quantity(value, unit, decimals, climb)
    return Words(quantity.metric(), quantity.imperial())
