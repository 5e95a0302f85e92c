"""Statements about the fall."""

from ground.analyse import extremes
from ground.statements.shared import of_extreme


def statements(case):
    """Give greatest_fall_speed."""
    found = extremes.greatest_fall_speed(case.timeline, case.heights, case.window, case.moments.burst)
    text = "It fell fastest, at {value}, at {height}, at {when}."
    return {"greatest_fall_speed": of_extreme(case, "Top fall speed", text, found, "m/s", 1)}
