"""Launch, burst and landing: when, where and how high, each with what it rests on."""

from dataclasses import dataclass, replace

import numpy as np

from ground.analyse.burst import find_burst
from ground.analyse.climb_end import CUT, FLOAT, ClimbEnd, find_climb_end
from ground.analyse.ground_moments import find_landing, find_launch
from ground.analyse.height_error import height_error_m
from ground.analyse.landing_place import error_of_place_m
from ground.analyse.moment import Moment
from ground.analyse.places import position_fixes


@dataclass(frozen=True)
class Moments:
    """burst has a time only if the climb ended in a fall that nothing speaks against being a burst; climb_end
    says how it ended in any case.
    """

    launch: Moment
    burst: Moment
    landing: Moment
    climb_end: ClimbEnd | None = None


def find_moments(timeline, heights, phases) -> Moments:
    """Find launch, burst and landing.

    timeline: Timeline; heights: Heights and phases: Phases on its axis.
    """
    fixes = position_fixes(timeline)
    launch = find_launch(timeline, heights, phases, fixes)
    burst = find_burst(timeline, heights, phases, fixes)
    if burst.height_m is not None:
        by_fix = burst.height_source == heights.gnss.source
        burst = replace(burst, height_error_m=height_error_m(heights, burst.time_s, by_fix))
    if burst.latitude_deg is not None:
        burst = replace(burst, place_error_m=error_of_place_m(fixes, burst.time_s, burst.uncertainty_s))
    climb_end = find_climb_end(timeline, heights, phases, burst)
    landing = find_landing(timeline, heights, phases, fixes)
    return Moments(launch, _no_burst(burst, climb_end), landing, climb_end)


def _no_burst(burst, climb_end):
    """Withdraw a burst that the climb's end contradicts."""
    reason = None
    if climb_end.kind == FLOAT:
        reason = "the climb ended in a float, and not in a burst"
        if climb_end.fall_s is not None:
            reason = "the balloon floated, and heights do not show whether it burst then or was cut loose"
    elif climb_end.kind == CUT:
        reason = "a switch changed just before the fall, so the balloon was probably cut loose and did not burst"
    return burst if reason is None else Moment("burst", reason=reason, place_reason=reason)


def seconds_since_launch(table, launch):
    """Give the column of seconds since the launch for a Table, float array (n,).

    By UTC where the record and the launch have it, else by ticks within the launch's boot; NaN in
    other boots, because ticks start anew with each.
    """
    columns = table.columns
    seconds = np.full(len(table), np.nan)
    if launch.boot is not None:
        same = columns["boot"] == launch.boot
        seconds[same] = (columns["tick_ms"][same] - launch.tick_ms) / 1000.0
    if launch.utc is not None:
        known = ~np.isnat(columns["utc"])
        seconds[known] = (columns["utc"][known] - launch.utc) / np.timedelta64(1000, "ms")
    return seconds
