"""GeoJSON, RFC 7946: the track as a line, the moments as points.

Positions have two numbers only: by RFC 7946, section 4, a third would be a height above the WGS 84 ellipsoid,
and the log holds heights above mean sea level. They stand in the properties, one a position.
"""

import json

import numpy as np

from ground.export.marks import flight_marks
from ground.export.track import flight_track


def geojson_text(record):
    """Write a RecordedFlight as a FeatureCollection. A line that crosses the antimeridian is cut there
    (RFC 7946, 3.1.9); a single fix is a Point.
    """
    track = flight_track(record.case)
    features = []
    lines, heights, times = [], [], []
    for part in track.segments():
        for points in _cut(track, range(part.start, part.stop)):
            if len(points) > 1:
                lines.append([list(place) for place, _ in points])
                heights.append([_number(_between(track.height_m, at)) for _, at in points])
                times.append([_time(track.utc, at) for _, at in points])
    if lines:
        one = len(lines) == 1
        features.append(
            _feature(
                {"type": "LineString", "coordinates": lines[0]} if one
                else {"type": "MultiLineString", "coordinates": lines},
                name=record.payload, flight=record.flight,
                heights_above_mean_sea_level_m=heights[0] if one else heights,
                times_utc=times[0] if one else times,
            )
        )  # fmt: skip
    for mark in flight_marks(record.statements):
        features.append(
            _feature(
                {"type": "Point", "coordinates": [round(mark.longitude_deg, 7), round(mark.latitude_deg, 7)]},
                name=mark.name, utc=mark.utc, height_above_mean_sea_level_m=mark.height_m, text=mark.text,
            )
        )  # fmt: skip
    return json.dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False, allow_nan=False) + "\n"


def _feature(geometry, **properties):
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def _cut(track, index):
    """Runs of ((longitude, latitude), place in the track as a fractional index), cut at 180 degrees."""
    run = []
    for i in index:
        longitude, latitude = float(track.longitude_deg[i]), float(track.latitude_deg[i])
        if run and abs(longitude - run[-1][0][0]) > 180.0:
            before, before_latitude = run[-1][0]
            edge = 180.0 if before > 0 else -180.0
            across = longitude + 2 * edge - before
            share = (edge - before) / across if across else 0.0  # 180 and -180 degrees are one place
            crossing = round(before_latitude + share * (latitude - before_latitude), 7)
            run.append(((edge, crossing), i - 1 + share))
            yield run
            run = [((-edge, crossing), i - 1 + share)]
        run.append(((round(longitude, 7), round(latitude, 7)), float(i)))
    yield run


def _between(values, at):
    low = int(at)
    if low == at:
        return values[low]
    return values[low] + (at - low) * (values[low + 1] - values[low])


def _number(value):
    return round(float(value), 1) if np.isfinite(value) else None


def _time(utc, at):
    low = int(at)
    if np.isnat(utc[low]):
        return None
    if low == at:
        return f"{utc[low]}Z"
    step_ms = int((utc[low + 1] - utc[low]).astype(np.int64))
    return f"{utc[low] + np.timedelta64(round((at - low) * step_ms), 'ms')}Z"
