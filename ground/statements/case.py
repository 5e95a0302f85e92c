"""A flight as the statements look at it: its tables, one axis of time, heights, phases and moments."""

from dataclasses import dataclass, field

import numpy as np

from ground.analyse.extremes import Window
from ground.analyse.heights import Heights, build_heights
from ground.analyse.moments import Moments, find_moments
from ground.analyse.phases import Phases, find_phases
from ground.analyse.places import position_fixes
from ground.analyse.series import Series, Timeline, timelines
from ground.statements.statement import utc_text


@dataclass(eq=False)
class Case:
    """What the statements are made from.

    flight: Flight (tables, sensors, notes). timeline: the axis of time, s; heights, phases, moments on it;
    window: launch, top and landing on it as far as known, the data's ends where not; fixes: Series of
    latitude_deg and longitude_deg, cleaned. mission: Mission or None. tracks: tuple of Track, what other
    position sources say. log: LogFacts. All but flight and log are None where the log holds no records.
    """

    flight: object
    log: object
    timeline: Timeline | None
    heights: Heights | None
    phases: Phases | None
    moments: Moments | None
    window: Window | None
    fixes: Series | None
    mission: object = None
    tracks: tuple = ()
    notes: tuple = ()
    _found: dict = field(default_factory=dict)

    def once(self, find):
        """Give find(case), found only once: statements and plots ask for the same results."""
        if find not in self._found:
            self._found[find] = find(self)
        return self._found[find]

    def since_launch_s(self, time_s):
        """Seconds since launch of a time (or array) on the axis; since the heights begin if the launch is
        unknown, and without any height the time on the axis itself.
        """
        start_s = self.window.start_s
        return time_s - (start_s if np.isfinite(start_s) else 0.0)

    def clock_text(self, time_s):
        """A time on the axis for a sentence: "10:42:13 UTC", or "35 min 10 s after launch" where UTC is unknown, or
        "... after the first height", if the launch is not known either.
        """
        utc = self.timeline.utc(time_s)
        if utc is not None:
            return str(utc + np.timedelta64(500, "ms"))[11:19] + " UTC"
        since_s = self.since_launch_s(time_s)
        minutes, seconds = divmod(round(abs(since_s)), 60)
        begins = "launch" if self.moments.launch.time_s is not None else "the first height"
        if begins != "launch" and self.phases.climb_s is not None:
            begins = "the beginning of the climb"
        return f"{minutes} min {seconds} s {'after' if since_s >= 0 else 'before'} {begins}"

    def at(self, time_s, series=None):
        """The keys utc, and with a Series also boot and tick_ms, of a statement about a time on the axis."""
        keys = {"utc": utc_text(self.timeline.utc(time_s))}
        if series is not None and len(series):
            nearest = int(np.argmin(np.abs(series.time_s - time_s)))
            keys["boot"] = int(series.boot[nearest])
            keys["tick_ms"] = int(series.tick_ms[nearest]) + round((time_s - float(series.time_s[nearest])) * 1000)
        return keys

    def span(self, start_s, end_s):
        """The keys of a statement that rests on this span of the axis (finite times)."""
        return {
            "from_utc": utc_text(self.timeline.utc(start_s)), "to_utc": utc_text(self.timeline.utc(end_s)),
            "from_s": round(float(self.since_launch_s(start_s)), 3),
            "to_s": round(float(self.since_launch_s(end_s)), 3),
        }  # fmt: skip


def build_case(flight, log, mission=None, tracks=()) -> Case:
    """Put a flight on its best axis of time and find its rough shape and its moments.

    flight: Flight. log: LogFacts. mission: Mission or None. tracks: of other position sources.
    """
    best = None
    for timeline in timelines(flight):
        heights = build_heights(timeline)
        if best is None or heights.span_m() > best[1].span_m() + 1.0:
            best = (timeline, heights)  # the first of equals, so UTC if it can be
    if best is None:
        empty = (None,) * 6
        return Case(flight, log, *empty, mission, tuple(tracks), ("the log holds no records",))
    timeline, heights = best
    notes = list(heights.notes)
    if timeline.origin_ms is None:
        notes.append(f"the flight is told by boot {timeline.boot} alone, in seconds since it began")
    phases = find_phases(heights.combined)
    moments = find_moments(timeline, heights, phases)
    window = _window(heights, phases, moments)
    fixes = position_fixes(timeline)
    return Case(
        flight, log, timeline, heights, phases, moments, window, fixes, mission, tuple(tracks), tuple(notes)
    )


def _window(heights, phases, moments):
    times = heights.combined.time_s
    first, last = (float(times[0]), float(times[-1])) if len(times) else (float("-inf"), float("inf"))

    def known(*choices):
        return next(time_s for time_s in choices if time_s is not None)

    end = moments.climb_end
    return Window(
        known(moments.launch.time_s, phases.climb_s, first),
        known(moments.burst.time_s, end.fall_s if end else None, phases.top_s, first),
        known(moments.landing.time_s, phases.rest_s, last),
    )
