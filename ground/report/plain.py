"""Numbers, times and names as plain text."""

import textwrap

NO_BREAK = "\u00a0"


def grouped(number):
    """A number with its digits in groups of three: 12 300. The spaces do not break a line."""
    return f"{number:,}".replace(",", NO_BREAK)


def several(number, thing):
    """Say how many: 1 block, 2 blocks."""
    return f"{grouped(number)}{NO_BREAK}" + (thing if number == 1 else thing.replace(" or ", "s or ") + "s")


def duration(seconds):
    """A length of time, not negative: 5.9 s, 12 min 30 s, 1 h 2 min 3 s."""
    if round(seconds, 1) < 60:
        return f"{seconds:.1f}{NO_BREAK}s"
    minutes, seconds = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    words = [f"{hours}{NO_BREAK}h"] if hours else []
    return " ".join([*words, f"{minutes}{NO_BREAK}min", f"{seconds}{NO_BREAK}s"])


def printable(words, most=80):
    """Words from outside, which may hold anything, without control characters and not longer than `most`."""
    safe = "".join(c if c.isprintable() else "?" for c in words)
    return safe if len(safe) <= most else f"{safe[:most // 2 - 2]}...{safe[1 - most // 2:]}"


def filled(words, width, first="", rest=""):
    """Lines of at most `width`: `first` stands before the first one, `rest` before the others."""
    lines = textwrap.wrap(words, width, initial_indent=first, subsequent_indent=rest)
    return [line.replace(NO_BREAK, " ") for line in lines]
