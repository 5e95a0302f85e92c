"""How many digits a number deserves."""

from math import floor, log10


def decimals_of(uncertainty):
    """Decimals that write an uncertainty with two digits (JCGM 100:2008, 7.2.6)."""
    return 0 if not uncertainty else max(0, 1 - floor(log10(abs(uncertainty))))


def supported(value, uncertainty, decimals):
    """(value, decimals) with no digit below the first one of the uncertainty; tens stay, so that the figure agrees
    with the sentence under it.
    """
    if not uncertainty:
        return value, decimals
    place = floor(log10(abs(uncertainty)))
    if place >= 2:
        return round(value, -place), 0
    return value, min(decimals, max(0, -place))
