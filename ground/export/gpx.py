"""GPX 1.1: track and waypoints, for maps and hand-held receivers.

Source: Topografix, GPX 1.1 Schema Documentation. Elevations are metres above mean sea level there too.
"""

from datetime import UTC, datetime

import gpxpy.gpx
import numpy as np

from ground.export.clean import xml_text
from ground.export.marks import flight_marks
from ground.export.track import flight_track


def gpx_text(record):
    """Write a RecordedFlight as GPX 1.1; points without a height have no <ele>, without UTC no <time>."""
    track = flight_track(record.case)
    made = gpxpy.gpx.GPX()
    made.creator = "Loftbook"
    made.name = xml_text(f"{record.payload or 'Flight'} {record.flight}")
    made.description = "Track of a balloon flight, from the payload's own log"
    made.nsmap = {}
    for mark in flight_marks(record.statements):
        made.waypoints.append(
            gpxpy.gpx.GPXWaypoint(
                mark.latitude_deg, mark.longitude_deg, mark.height_m, _time(mark.utc and mark.utc.removesuffix("Z")),
                name=mark.name, description=xml_text(mark.text),
            )
        )  # fmt: skip
    line = gpxpy.gpx.GPXTrack(name=made.name)
    made.tracks.append(line)
    for part in track.segments():
        segment = gpxpy.gpx.GPXTrackSegment()
        rows = zip(
            track.latitude_deg[part].tolist(), track.longitude_deg[part].tolist(), track.height_m[part].tolist(),
            track.utc[part], strict=True,
        )  # fmt: skip
        for latitude, longitude, height_m, utc in rows:
            height = None if np.isnan(height_m) else round(height_m, 1)
            time = None if np.isnat(utc) else _time(str(utc))
            segment.points.append(gpxpy.gpx.GPXTrackPoint(round(latitude, 7), round(longitude, 7), height, time))
        line.segments.append(segment)
    return made.to_xml(version="1.1")


def _time(text):
    return datetime.fromisoformat(text).replace(tzinfo=UTC) if text else None
