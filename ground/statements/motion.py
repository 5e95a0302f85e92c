"""Statements about motion."""


def statements(case):
    """Give nothing yet."""
    return {}
