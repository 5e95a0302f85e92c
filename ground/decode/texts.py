"""Events and messages in words."""

import numpy as np

from ground.decode.columns import Column
from protocol.table import DEVICES, EVENTS, PHASES

_EVENT_NAMES = dict(EVENTS)
_ABOUT_A_DEVICE = ("device failed", "device returned", "blocks lost", "card full")


def event_name(code):
    """Give an event's name, '' for a code that this program does not know (or NaN)."""
    return _EVENT_NAMES.get(code, "")


def subject_name(code, subject):
    """Give the name of what an event is about, '' where the number means nothing here."""
    name = event_name(code)
    if name == "phase changed":
        return _entry(PHASES, subject)
    if name in _ABOUT_A_DEVICE:
        return _entry(DEVICES, subject)
    if name == "booted":
        return f"reset cause {subject:.0f}" if subject == subject else ""
    if name == "switch changed":
        return f"switch {subject:.0f}" if subject == subject else ""
    return ""


def _entry(names, number):
    return names[int(number)] if 0 <= number < len(names) else ""


def event_columns(code, subject):
    """Make the columns that say events in words. code, subject: float arrays (n,), NaN = missing."""
    pairs = list(zip(code.tolist(), subject.tolist()))
    return [
        Column("event", _texts(event_name(c) for c, _ in pairs)),
        Column("subject_name", _texts(subject_name(c, s) for c, s in pairs)),
    ]


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
