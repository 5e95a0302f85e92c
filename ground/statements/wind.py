"""Statements about the wind, from the payload's drift."""

from ground.analyse import extremes
from ground.statements.shared import of_extreme


def statements(case):
    """Give greatest_ground_speed."""
    found = extremes.greatest_ground_speed(case.timeline, case.heights, case.window)
    text = "The greatest speed over ground was {value}, at {height}, at {when}."
    return {"greatest_ground_speed": of_extreme(case, "Top ground speed", text, found, "m/s", 1)}
