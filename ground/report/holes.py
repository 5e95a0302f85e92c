"""Holes in a flight's log: the time without data where blocks or packets are lost, and the heights there."""

from collections import Counter
from dataclasses import dataclass

import numpy as np

from ground.analyse.heights import build_heights
from ground.analyse.series import timelines

ENVELOPE_MAX_S = 2.0  # a block is closed at the latest so long after its first record (protocol/FORMAT.md)
HEIGHT_NEAR_S = 10.0  # a height measured so long before or after a hole is still the height at its edge


@dataclass(frozen=True)
class Edge:
    """Where a hole begins or ends: the last record before it, or the first one after it.
    utc: datetime64, None if the boot's clock is not known; launch_s, landing_s: seconds since then, negative
    before, None if not known; height_m: None if no height is known near.
    """

    boot: int
    tick_ms: int
    utc: np.datetime64 | None
    launch_s: float | None
    landing_s: float | None
    height_m: float | None


@dataclass(frozen=True)
class Hole:
    """Neighbouring envelopes that are lost. reasons: Counter of reason -> number. begin, end: Edge; end is
    None where nothing follows; seconds: without data, at most so long if nothing follows.
    """

    envelope: str
    reasons: Counter
    begin: Edge
    end: Edge | None
    seconds: float

    @property
    def count(self):
        """Number of envelopes lost."""
        return self.reasons.total()

    @property
    def edges(self):
        """Its one or two Edges."""
        return [edge for edge in (self.begin, self.end) if edge]

    @property
    def in_flight(self):
        """True if it touches the time from launch to landing, or to the end if no landing is known."""
        after_launch = any(edge.launch_s is not None and edge.launch_s > 0 for edge in self.edges)
        after_landing = self.begin.landing_s is not None and self.begin.landing_s >= 0
        return after_launch and not after_landing


def find_holes(losses, flight, case):
    """Holes in order of boot and time: list of Hole.

    losses: list of Loss, of this flight. flight: Flight. case: its Case.
    """
    if not losses:
        return []
    sighted = _Sights(flight, case)
    ticks = {boot.boot: _densest_ticks(boot) for boot in flight.boots}
    groups = {}
    for loss in losses:
        key = (loss.boot, loss.envelope, loss.tick_before_ms, loss.tick_after_ms)
        groups.setdefault(key, Counter())[loss.reason] += loss.count
    holes = [_hole(key, reasons, ticks[key[0]], sighted) for key, reasons in groups.items()]
    return sorted(holes, key=lambda hole: (hole.begin.boot, hole.begin.tick_ms))


def logged_s(flight):
    """Seconds from the first to the last record, all boots together."""
    spans = [ticks for ticks in map(_densest_ticks, flight.boots) if len(ticks)]
    return sum(float(ticks[-1] - ticks[0]) for ticks in spans) / 1000.0


def _densest_ticks(boot):
    """The ticks, in order, of the kind with the most records, which shows a hole the most sharply."""
    records = [records for kind, records in boot.records.items() if kind != "manifest"]
    return max((item.tick_ms for item in records), key=len, default=np.zeros(0, np.int64))


def _hole(key, reasons, ticks, sighted):
    boot, envelope, before_ms, after_ms = key
    first_ms = 0 if before_ms is None else before_ms  # a boot's clock begins at 0
    if after_ms is None:
        last_ms = max(first_ms, int(ticks[-1])) if len(ticks) else first_ms
        return Hole(envelope, reasons, sighted.edge(boot, last_ms), None, ENVELOPE_MAX_S * reasons.total())
    first, last = np.searchsorted(ticks, (first_ms, after_ms))
    bounds = np.concatenate([[first_ms], ticks[first:last], [after_ms]])
    widest = int(np.argmax(np.diff(bounds)))
    begin, end = (sighted.edge(boot, int(bounds[index])) for index in (widest, widest + 1))
    return Hole(envelope, reasons, begin, end, max(0, end.tick_ms - begin.tick_ms) / 1000.0)


class _Sights:
    """Knows for a tick of a boot the time and the height."""

    def __init__(self, flight, case):
        self._clocks = flight.clocks
        self._moments = case.moments
        known = case.timeline and (case.timeline.origin_ms, case.timeline.boot)
        self._heights = [
            (axis, (case.heights if (axis.origin_ms, axis.boot) == known else build_heights(axis)).combined)
            for axis in timelines(flight)
        ]

    def edge(self, boot, tick_ms):
        clock = self._clocks.get(boot)
        utc = clock.utc_of(tick_ms) if clock else None
        launch, landing = (self._moments.launch, self._moments.landing) if self._moments else (None, None)
        return Edge(
            boot, tick_ms, utc, _seconds_after(launch, boot, tick_ms, utc),
            _seconds_after(landing, boot, tick_ms, utc), self._height_m(boot, tick_ms, utc),
        )

    def _height_m(self, boot, tick_ms, utc):
        for axis, series in self._heights:
            if axis.origin_ms is None:
                time_s = tick_ms / 1000.0 if axis.boot == boot else None
            else:
                time_s = None if utc is None else (utc.astype(np.int64) - axis.origin_ms) / 1000.0
            if time_s is not None:
                after = int(np.searchsorted(series.time_s, time_s))
                near = [i for i in (after - 1, after) if 0 <= i < len(series)]
                nearest = min(near, key=lambda i: abs(series.time_s[i] - time_s), default=None)
                if nearest is not None and abs(series.time_s[nearest] - time_s) <= HEIGHT_NEAR_S:
                    return float(series["height_m"][nearest])
        return None


def _seconds_after(moment, boot, tick_ms, utc):
    if moment is None:
        return None
    if moment.utc is not None and utc is not None:
        return float((utc - moment.utc) / np.timedelta64(1, "ms")) / 1000.0
    return (tick_ms - moment.tick_ms) / 1000.0 if moment.boot == boot else None
