"""Statements about the air's temperature."""

from ground.analyse import extremes
from ground.statements.shared import of_extreme


def statements(case):
    """Give coldest_air."""
    found = extremes.coldest_air(case.timeline, case.heights, case.window)
    text = "The coldest air was {value}, at {height}, at {when}."
    return {"coldest_air": of_extreme(case, "Coldest air", text, found, "degC", 1)}
