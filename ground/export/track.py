"""The flight as one track: places with heights and times, and what was measured there."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.heights import air_temperature, interpolated

SEGMENT_GAP_S = 60.0  # a longer silence breaks the line: nobody knows where the payload was
HEIGHT_GAP_S = 30.0
VALUE_GAP_S = 10.0


@dataclass(frozen=True)
class FlightTrack:
    """Points in order of time. utc: datetime64[ms] (n,), NaT where the clock is not known; since_launch_s,
    latitude_deg, longitude_deg (-180 to 180), height_m (above mean sea level), pressure_hpa, temperature_degc,
    humidity_percent: float arrays (n,), NaN where not known. starts: indices at which a new segment begins.
    """

    utc: np.ndarray
    since_launch_s: np.ndarray
    latitude_deg: np.ndarray
    longitude_deg: np.ndarray
    height_m: np.ndarray
    pressure_hpa: np.ndarray
    temperature_degc: np.ndarray
    humidity_percent: np.ndarray
    starts: np.ndarray

    def __len__(self):
        return len(self.latitude_deg)

    def segments(self):
        """The slices of points without a long gap between them; none for an empty track."""
        ends = np.append(self.starts[1:], len(self))[: len(self.starts)]
        return [slice(int(a), int(b)) for a, b in zip(self.starts, ends, strict=True)]

    def where(self, index):
        """The points of an index array, in order; segments stay apart."""
        segment = np.searchsorted(self.starts, index, side="right")
        starts = np.flatnonzero(np.concatenate([[True], np.diff(segment) != 0])) if len(index) else np.zeros(0, int)
        fields = (getattr(self, name)[index] for name in list(self.__dataclass_fields__)[:-1])
        return FlightTrack(*fields, starts)


def flight_track(case) -> FlightTrack:
    """Gather the track of a Case: a point a fix that fits its neighbours, with what other sensors said then."""
    fixes, timeline = case.fixes, case.timeline
    time_s = fixes.time_s if fixes is not None else np.zeros(0)
    if len(time_s) == 0:
        empty = np.zeros(0)
        return FlightTrack(empty.astype("datetime64[ms]"), *(empty,) * 7, np.zeros(0, int))
    _, first = np.unique(time_s, return_index=True)  # two fixes of one moment would stop the clock of a map
    time_s = time_s[first]
    combined = case.heights.combined
    pressure = timeline.series("pressure", ("pressure_hPa",))
    humidity = timeline.series("air", ("relative_humidity_percent",))
    air = air_temperature(timeline, "temperature_degC")
    utc = np.full(len(time_s), np.datetime64("NaT", "ms"))
    if timeline.origin_ms is not None:
        utc = (timeline.origin_ms + np.rint(time_s * 1000).astype(np.int64)).astype("datetime64[ms]")
    longitude = (fixes["longitude_deg"][first] + 180.0) % 360.0 - 180.0
    return FlightTrack(
        utc, case.since_launch_s(time_s), fixes["latitude_deg"][first], longitude,
        interpolated(combined.time_s, combined["height_m"], time_s, HEIGHT_GAP_S),
        interpolated(pressure.time_s, pressure["pressure_hPa"], time_s, VALUE_GAP_S),
        interpolated(air.time_s, air["temperature_degC"], time_s, VALUE_GAP_S),
        interpolated(humidity.time_s, humidity["relative_humidity_percent"], time_s, VALUE_GAP_S),
        np.flatnonzero(np.concatenate([[True], np.diff(time_s) > SEGMENT_GAP_S])),
    )  # fmt: skip


def thinned(track, most):
    """The track with about `most` points or fewer, each segment's ends and the highest point kept."""
    if len(track) <= most:
        return track
    keep = np.zeros(len(track), bool)
    keep[:: -(-len(track) // most)] = True
    keep[track.starts] = True
    keep[np.append(track.starts[1:], len(track)) - 1] = True
    if np.isfinite(track.height_m).any():
        keep[int(np.nanargmax(track.height_m))] = True
    return track.where(np.flatnonzero(keep))
