# The table of table.py as objects, for the desktop.

from protocol.table import EVENTS_TEXT, KINDS_TEXT, PHASES_TEXT


def _kind(lines):
    first, *fields = lines.splitlines()
    number, name = first.split(" ")
    return int(number), name, tuple([field[len("field ") :] for field in fields])


def _event(line):
    code, name = line.split(" ", 1)
    return int(code), name


KINDS = tuple([_kind(lines) for lines in KINDS_TEXT.decode()[len("kind ") :].split("\nkind ")])
EVENTS = tuple([_event(line) for line in EVENTS_TEXT.decode().splitlines()])
PHASES = tuple(PHASES_TEXT.decode().split(" "))
