"""Statements about positions."""


def statements(case):
    """Give nothing yet."""
    return {}
