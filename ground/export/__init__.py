"""Exports of a flight: tables with a dictionary, tracks for maps, a sounding, scientific files."""

from ground.export.folder import FORMATS, export_flight

__all__ = ["FORMATS", "export_flight"]
