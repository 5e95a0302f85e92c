"""Events and messages in words."""

import numpy as np

from ground.decode.columns import Column
from protocol.table import DEVICES, EVENTS, PHASES

_EVENT_NAMES = dict(EVENTS)
_ABOUT_A_DEVICE = (
    "device failed", "device returned", "blocks lost", "card full", "receiver set", "receiver not set",
)  # fmt: skip


def event_name(code):
    """Give an event's name, '' for a code that this program does not know (or NaN)."""
    return _EVENT_NAMES.get(code, "")


def subject_name(code, subject, sensors=None):
    """Give the name of what an event is about, '' where the number means nothing here.

    sensors: dict role -> (chip, words) of the manifest; a switch stands in it as switch_1 and so on, with
    its name for a chip.
    """
    name = event_name(code)
    if name == "phase changed":
        return _entry(PHASES, subject)
    if name in _ABOUT_A_DEVICE:
        return _entry(DEVICES, subject)
    if name == "booted":
        return f"reset cause {subject:.0f}" if subject == subject else ""
    if name == "switch changed":
        return _switch_name(subject, sensors or {})
    if name == "ground test":
        return {1: "begun", 0: "ended"}.get(subject, "")
    return ""


def _switch_name(number, sensors):
    if number != number:
        return ""
    name, _ = sensors.get(f"switch_{number:.0f}", (f"switch {number:.0f}", ()))
    return name


def _entry(names, number):
    return names[int(number)] if 0 <= number < len(names) else ""


def event_columns(code, subject, sensors=None):
    """Make the columns that say events in words.

    code, subject: float arrays (n,), NaN = missing; sensors: as for subject_name.
    """
    pairs = list(zip(code.tolist(), subject.tolist()))
    return [
        Column("event", _texts(event_name(c) for c, _ in pairs)),
        Column("subject_name", _texts(subject_name(c, s, sensors) for c, s in pairs)),
    ]


def phase_column(phase):
    """Make the column that says flight phases in words, '' for a number that this program does not know.

    phase: float array (n,), NaN = missing.
    """
    numbers = phase.tolist()
    return Column("phase", _texts(_entry(PHASES, number) if number == number else "" for number in numbers))


def message_column(part, parts, characters):
    """Put the pieces of messages together.

    part, parts: integer arrays (n,); characters: bytes array (n,); one boot, in order of time.
    Returns a Column: the whole message beside its first piece, '' beside the others and where
    a piece is missing. The bytes are joined before they are read as UTF-8, since a character may
    be divided between pieces.
    """
    messages = [""] * len(part)
    start, collected = 0, []
    pieces = [value.rstrip(b"\0") for value in characters.tolist()]
    for i, (number, total) in enumerate(zip(part.tolist(), parts.tolist())):
        if number == 0:
            start, collected = i, []
        if number != len(collected) or total != parts[start] or number >= total:
            collected = []
            continue
        collected.append(pieces[i])
        if len(collected) == total:
            messages[start] = b"".join(collected).decode("utf-8", "replace")
            collected = []
    return Column("message", _texts(messages))


def _texts(strings):
    return np.array(list(strings), dtype=object)
