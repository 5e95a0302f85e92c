"""Tracks: positions that other devices exported, from CSV and GPX files and from recovered captures."""

from ground.tracks.read import read_track
from ground.tracks.track import Track

__all__ = ["Track", "read_track"]
