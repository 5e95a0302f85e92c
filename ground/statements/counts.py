"""Counts in a sentence."""


def counted(number, one, many=None):
    """Write a count with its noun: "1 turn", "3 turns". many: the plural, if it is not one + "s"."""
    return f"{number:,} {one if number == 1 else many or one + 's'}".replace(",", " ")


def times(number):
    """Write how often: "once", "twice", "3 times"."""
    return {1: "once", 2: "twice"}.get(number) or counted(number, "time")
