"""Statements about power."""


def statements(case):
    """Give nothing yet."""
    return {}
