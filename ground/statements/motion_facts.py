"""What the motion sensor's record gives, for the statements about motion and for the plot."""

from dataclasses import dataclass

import numpy as np

from ground.analyse import blows, gyroscope, motion, swing
from ground.analyse.climb_end import UNKNOWN
from ground.analyse.series import Series
from ground.statements.shared import fall_start_s

FORCE = tuple(f"acceleration_{axis}_m_s2" for axis in "xyz")
RATE = tuple(f"rate_{axis}_deg_s" for axis in "xyz")
FELT_S = 0.5  # a free fall begins when the force is gone, which takes the line some tenths of a second
LEAST_SEARCH_S = 30.0
BEFORE_FALL_S = 15.0  # the tumbling reaches so far back through the filter that the swing is found with
NO_UP = "which way is up in the box is not known"


@dataclass(eq=False)
class MotionFacts:
    """What the motion sensor's record gives. series: all readings; time_s (n,), force (n, 3) in m/s2, rate (n, 3)
    in deg/s with zero_taken_deg_s (3,) taken off: those that do not stand still; spin_deg_s (n,); tilt, felt:
    complex (n,), deg; up: (3,) or None, up_from: what it was found from; zero: gyroscope.Zero or None; climb, fall:
    (start_s, end_s) or None; frozen: how many readings stood still; blocks: dict of arrays every 10 s, see
    motion.summary; fall_s: when the fall began, fall_spread_s: its expanded uncertainty, fall_felt: whether that is
    known from the weightlessness alone, fall_reason: why there is no such time.
    """

    series: Series
    time_s: np.ndarray
    force: np.ndarray
    rate: np.ndarray
    zero_taken_deg_s: np.ndarray
    spin_deg_s: np.ndarray
    tilt: np.ndarray
    felt: np.ndarray
    up: np.ndarray | None
    up_from: str
    zero: gyroscope.Zero | None
    climb: tuple | None
    fall: tuple | None
    frozen: int
    blocks: dict
    fall_s: float | None
    fall_spread_s: float
    fall_felt: bool
    fall_reason: str | None

    def within(self, span):
        """The slice of the readings in a span of time."""
        first, end = np.searchsorted(self.time_s, span[0], "left"), np.searchsorted(self.time_s, span[1], "right")
        return slice(int(first), max(int(first), int(end)))

    def samples(self, span):
        """How many readings there are in a span of time."""
        return len(self.time_s[self.within(span)])


def find_motion(case) -> MotionFacts:
    """Find what the motion sensor tells of a Case; the arrays are empty without readings."""
    series = case.timeline.series("motion", FORCE + RATE, "motion.acceleration, motion.rate")
    force = np.column_stack([series[name] for name in FORCE])
    rate = np.column_stack([series[name] for name in RATE])
    good = motion.moving(force)
    time_s, force, rate = series.time_s[good], force[good], rate[good]
    fall_s, fall_spread_s, fall_felt, fall_reason = _fall_start(case, time_s, force)
    climb, fall = _spans(case, fall_s, fall_spread_s)
    start_s, end_s = case.window.start_s, case.window.end_s
    up, up_from = None, ""
    for span, name in ((climb, "the climb"), (fall, "the fall"), ((-np.inf, start_s), "the ground")):
        if up is None and span is not None:
            up, up_from = gyroscope.up_axis(force[(time_s >= span[0]) & (time_s <= span[1])]), name
    zero = gyroscope.gyroscope_zero(time_s, force, rate, start_s, end_s, up)
    hangs = (time_s >= climb[0]) & (time_s <= climb[1]) if climb else np.zeros(len(time_s), bool)
    taken = np.zeros(3)
    if zero is not None:
        taken = zero.rate_deg_s
        up = gyroscope.spin_axis(time_s[hangs], rate[hangs] - taken, up)
    elif up is not None and hangs.any():
        # A hanging box turns as much one way as the other about the axes across it.
        mean = rate[hangs].mean(axis=0)
        taken = mean - (mean @ up) * up
    rate = rate - taken
    nothing = np.full(len(time_s), np.nan)
    spin, tilt, felt = nothing, nothing + 0j, nothing + 0j
    if up is not None:
        spin = rate @ up
        tilt, felt = swing.tilt_deg(time_s, force, rate, up)
    blocks = motion.summary(time_s, force, spin, tilt)
    return MotionFacts(
        series, time_s, force, rate, taken, spin, tilt, felt, up, up_from, zero, climb, fall, int((~good).sum()),
        blocks, fall_s, fall_spread_s, fall_felt, fall_reason,
    )  # fmt: skip


def _fall_start(case, time_s, force):
    """(time, expanded uncertainty, felt alone, None) of the fall's beginning, or (None, 0, False, reason)."""
    burst, end = case.moments.burst, case.moments.climb_end
    if burst.time_s is not None:
        return burst.time_s, 2.0 * burst.uncertainty_s, False, None
    start_s, end_s, known_s = case.window.start_s + 60.0, case.window.end_s - 5.0, None
    if end is not None and end.fall_s is not None:
        known_s, spread_s = end.fall_s, 2.0 * (end.fall_uncertainty_s or LEAST_SEARCH_S / 2.0)
        reach_s = max(LEAST_SEARCH_S, 2.0 * spread_s)
        start_s, end_s = max(start_s, known_s - reach_s), min(end_s, known_s + reach_s)
    elif case.phases.no_flight is not None or (end is not None and end.kind != UNKNOWN):
        return None, 0.0, False, burst.reason
    felt_s = blows.free_fall_start_s(time_s, force, start_s, end_s)
    if felt_s is not None:
        return felt_s, FELT_S, known_s is None, None
    return (None, 0.0, False, burst.reason) if known_s is None else (known_s, spread_s, False, None)


def _spans(case, fall_s, fall_spread_s):
    """(climb, steady fall), each (start_s, end_s) or None. What is called climb holds a float too."""
    climb, fall, start_s, end_s = None, None, case.window.start_s, case.window.end_s
    if case.phases.climb_s is not None:
        top_s = fall_start_s(case) if fall_s is None else fall_s - fall_spread_s - BEFORE_FALL_S
        climb = (start_s, top_s) if top_s - start_s > 60.0 else None
        if fall_s is not None and end_s - fall_s > blows.FALL_SETTLED_S + 60.0:
            fall = (fall_s + blows.FALL_SETTLED_S, end_s)
    return climb, fall
