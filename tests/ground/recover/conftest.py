"""Fixtures that several tests of recovery share."""

import pytest

from ground.recover.source import Source


@pytest.fixture
def bytes_read(monkeypatch):
    """How many bytes of sources have been asked for: a list with one number."""
    total = [0]
    original = Source.read_into

    def read_into(self, offset, view):
        total[0] += len(view)
        original(self, offset, view)

    monkeypatch.setattr(Source, "read_into", read_into)
    return total
