"""Mishaps in words, as a team orders them: KIND and its numbers, such as 'float 18000 2400'."""

from dataclasses import dataclass

from onboard.simulator.world.mishaps import Mishaps


class MishapError(ValueError):
    """A mishap that cannot be ordered; the message says which, why, and what is possible."""


@dataclass(frozen=True)
class Kind:
    """A kind of mishap: the field of Mishaps that it sets, its numbers as (name, unit, least, most), and what it
    is, in words."""

    key: str
    numbers: tuple
    words: str

    def usage(self, name):
        """How it is ordered: the kind and the names of its numbers."""
        return " ".join([name, *(number[0] for number in self.numbers)])


_HEIGHT = ("HEIGHT", "m above the sea", -430.0, 50000.0)
KINDS = {
    "early-burst": Kind(
        "burst_share", (("SHARE", "of the burst diameter", 0.1, 1.0),), "the balloon bursts before it is stretched"
    ),
    "float": Kind(
        "float_at", (_HEIGHT, ("SECONDS", "s from the vent's opening to the burst", 600.0, 14400.0)),
        "the balloon loses its free lift, drifts at about that height, and bursts",
    ),
    "leak": Kind(
        "leak", (_HEIGHT, ("PERCENT", "of the gas, an hour", 20.0, 1000.0)),
        "the balloon loses gas from there on, sinks to the ground and never bursts",
    ),
    "cut-down": Kind("cut_m", (_HEIGHT,), "the line to the balloon is cut"),
    "tangled": Kind(
        "canopy_share", (("SHARE", "of the drag area", 0.05, 1.0),), "the canopy is tangled in the fall"
    ),
    "late-canopy": Kind("canopy_opens_m", (_HEIGHT,), "the canopy opens at that height only"),
    "tree": Kind("tree_m", (("HEIGHT", "m above the ground", 1.0, 60.0),), "it comes to rest in a tree"),
    "carried-off": Kind(
        "carried_after_s", (("SECONDS", "s after the landing", 10.0, 7200.0),), "somebody drives off with it"
    ),
}  # fmt: skip
_ENDS = ("early-burst", "float", "leak", "cut-down")  # each ends the climb in its own way
_FALLS = ("tangled", "late-canopy")  # need a fall without the balloon


def read_mishaps(orders):
    """Read orders, an iterable of texts as in the head of this file. Returns Mishaps. Raises MishapError."""
    found, texts = {}, {}
    for text in orders:
        name, value = _read(text)
        if name in found:
            raise MishapError(f"mishap {text!r}: {name} is ordered twice; leave one out")
        found[name], texts[name] = value, text
    ends = [name for name in _ENDS if name in found]
    if len(ends) > 1:
        raise MishapError(f"mishap {texts[ends[1]]!r}: {ends[0]} ends the climb already; leave one of them out")
    for name in _FALLS:
        if name in found and "leak" in found:
            raise MishapError(f"mishap {texts[name]!r}: with a leak it comes down on the balloon; leave one out")
    return Mishaps(**{KINDS[name].key: value for name, value in found.items()})


def _read(text):
    name, *words = text.split() or [""]
    kind = KINDS.get(name)
    if kind is None:
        raise MishapError(f"mishap {text!r}: there is no kind {name!r}; choose one of {', '.join(KINDS)}")
    if len(words) != len(kind.numbers):
        raise MishapError(f"mishap {text!r} must be {kind.usage(name)}")
    values = tuple(_number(text, word, number) for word, number in zip(words, kind.numbers))
    return name, values if len(values) > 1 else values[0]


def _number(text, word, number):
    name, unit, least, most = number
    try:
        value = float(word)
    except ValueError:
        value = float("nan")
    if not least <= value <= most:
        raise MishapError(f"mishap {text!r}: {name} must be a number from {least:g} to {most:g}: {unit}")
    return value


def list_lines():
    """The lines about mishaps of `loftbook simulate --list`."""
    width = max(len(kind.usage(name)) for name, kind in KINDS.items())
    lines = []
    for name, kind in KINDS.items():
        numbers = "; ".join(f"{number[0]}: {number[1]}" for number in kind.numbers)
        lines.append(f"{kind.usage(name):<{width}}  {kind.words}")
        lines.append(f"{'':<{width}}  {numbers}")
    return lines
