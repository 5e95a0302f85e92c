"""Read a track from GPX, the open format for positions (Topografix, GPX 1.0 and 1.1)."""

import logging
import re

import numpy as np

from ground.errors import LoftbookError
from ground.tracks.track import make_track

# A GPX file needs neither; both can make a small file blow up, or read other files.
_DECLARES = re.compile(r"<!\s*(DOCTYPE|ENTITY)", re.IGNORECASE)
_DECLARATION = re.compile(r"^\s*<\?xml[^>]*\?>")
_ODD_NAMESPACE = re.compile(r"\sxmlns(?!:?[\w.-]*=)")  # costs the library time without end
_AT_LINE = re.compile(r"line (\d+)")


def read_gpx(path, text, notes=()):
    """Give the Track in the text of a GPX file: all its tracks, else its waypoints, else its routes.

    path: for messages and the name. Raises LoftbookError.
    """
    if _DECLARES.search(text):
        raise LoftbookError(f"{path}: has a DOCTYPE or ENTITY, which is refused; export it anew as plain GPX")
    gpx = _parsed(path, _DECLARATION.sub("", text, count=1))
    parts = [track for track in gpx.tracks if any(len(segment.points) for segment in track.segments)]
    points = [point for track in parts for segment in track.segments for point in segment.points]
    what = "track"
    if not points:
        points, what = gpx.waypoints, "waypoint"
    if not points:
        points, what = [point for route in gpx.routes for point in route.points], "route"
    notes = [*notes]
    if what != "track" and points:
        notes.append(f"it holds no track; its {what} points were taken")
    if len(parts) > 1:
        notes.append(f"it holds {len(parts)} tracks; they were joined")
    name = next((track.name for track in parts if track.name), None) or path.stem
    height_m = [np.nan if point.elevation is None else point.elevation for point in points]
    track, left_out = make_track(
        name, [_utc(point.time) for point in points], [point.latitude for point in points],
        [point.longitude for point in points], height_m, notes,
    )  # fmt: skip
    if track is None:
        why = f" ({left_out[-1]})" if points and left_out else ""
        raise LoftbookError(f"{path}: holds no point with time and position{why}; export the track with times")
    return track


def _parsed(path, text):
    import gpxpy
    import gpxpy.gpx

    if _ODD_NAMESPACE.search(text):
        raise LoftbookError(f"{path}: is not well-formed XML; export it anew as GPX")
    logging.getLogger("gpxpy").addHandler(logging.NullHandler())  # it would print what it then raises
    try:
        return gpxpy.parse(text)
    except (gpxpy.gpx.GPXException, ValueError, OverflowError, TypeError, AttributeError) as error:
        line = _AT_LINE.search(str(error))
        where = f", line {line.group(1)}" if line else ""
        what = " ".join(str(error).split())[:120]
        raise LoftbookError(f"{path}{where}: is no GPX that can be read ({what}); export it anew") from None


def _utc(time):
    """datetime64[ms] of a datetime; GPX times are UTC, also where they do not say so."""
    if time is None:
        return np.datetime64("NaT", "ms")
    ahead = time.utcoffset()
    ahead_ms = 0 if ahead is None else round(ahead.total_seconds() * 1000)
    return np.datetime64(time.replace(tzinfo=None), "ms") - np.timedelta64(ahead_ms, "ms")
