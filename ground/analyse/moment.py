"""A moment of the flight, and what the searches for moments share."""

from dataclasses import dataclass

import numpy as np

FIX_GAP_S = 10.0  # samples this close leave no gap worth a word
# A fix reaches the board some tenths of a second late, and no fall or climb is quite straight.
LEAST_UNCERTAINTY_S = 0.3


@dataclass(frozen=True)
class Moment:
    """A moment of the flight. What the data cannot say is None, and a reason says why."""

    name: str
    time_s: float | None = None  # on the timeline's axis
    utc: np.datetime64 | None = None
    boot: int | None = None
    tick_ms: int | None = None  # since boot
    uncertainty_s: float | None = None  # one standard deviation
    height_m: float | None = None
    height_source: str | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    place_source: str | None = None
    method: str | None = None
    source: str | None = None
    samples: int | None = None
    rate_m_s: float | None = None  # of the straight climb or fall beside it
    reason: str | None = None  # why there is no time
    place_reason: str | None = None  # why there is no place
    in_gap: bool = False  # the reason is a gap in the heights
    height_error_m: float | None = None  # one standard deviation of height_m
    place_error_m: float | None = None  # one standard deviation of the distance from the true place


def moment_of(name, timeline, window, bend, method) -> Moment:
    """Make the Moment of a Breakpoint that was fitted to a window of a Series."""
    nearest = int(np.argmin(np.abs(window.time_s - bend.time_s)))
    tick_ms = int(window.tick_ms[nearest]) + round((bend.time_s - float(window.time_s[nearest])) * 1000)
    return Moment(
        name, bend.time_s, timeline.utc(bend.time_s), int(window.boot[nearest]), tick_ms,
        max(bend.uncertainty_s, LEAST_UNCERTAINTY_S), bend.height_m, window.source, method=method,
        source=window.source, samples=bend.samples, rate_m_s=bend.rate_m_s,
    )  # fmt: skip


def widest_gap(series, start_s, end_s):
    """(length, start) of the longest time without a sample that touches the span; infinite if the
    series does not reach across it.
    """
    first = int(np.searchsorted(series.time_s, start_s, side="right")) - 1
    last = int(np.searchsorted(series.time_s, end_s, side="left"))
    if first < 0 or last >= len(series):
        return np.inf, start_s
    if last <= first:
        return 0.0, start_s
    gaps_s = np.diff(series.time_s[first : last + 1])
    widest = int(np.argmax(gaps_s))
    return float(gaps_s[widest]), float(series.time_s[first + widest])
