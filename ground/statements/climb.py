"""Statements about the climb: how high, how fast, how steady."""

from ground.analyse import extremes
from ground.statements.shared import of_extreme


def statements(case):
    """Give greatest_height, climb_rate."""
    heights, window, moments = case.heights, case.window, case.moments
    return {
        "greatest_height": of_extreme(
            case, "Greatest height", "It climbed to {value} above the sea, at {when}.",
            extremes.greatest_height(heights, window, moments.burst), "m",
        ),
        "climb_rate": of_extreme(
            case, "Mean climb rate", "It climbed at {value} on average.",
            extremes.climb_rate(heights, window, moments.launch, moments.burst), "m/s", 1, climb=True,
        ),
    }  # fmt: skip
