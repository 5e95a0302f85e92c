"""Statements about how the box spun and swung while it hung."""

import numpy as np

from ground.analyse.gyroscope import spin_figures
from ground.analyse.motion import SLOWEST_STEP_S
from ground.analyse.swing import swing_figures
from ground.statements.counts import times
from ground.statements.motion_facts import NO_UP
from ground.statements.motion_limits import LEAST_ZERO_DEG_S, RATE_SCALE, ZERO_DEG_S, seen_percent, usual_caveats
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, missing, statement

WAYS = {"climb": "Under the balloon", "fall": "On the way down"}
ENOUGH_PERCENT = 99.0  # what is counted over less of the time is counted too low
SHORTEST_SWING_S = 3.0  # a swing that seems longer or shorter by a fifth than it is, in doubt of the zero


def _parts(found):
    """The climb and the steady fall, as far as they are known: (name, span, slice of the readings)."""
    parts = (("climb", found.climb), ("fall", found.fall))
    return [(name, span, found.within(span)) for name, span in parts if span is not None]


def spin(case, found, title, unit):
    """Its value is the median of the spin's size in the climb, or without a climb in the fall."""
    reason = None
    if not _parts(found):
        reason = "the data hold no climb and no steady fall"
    elif found.up is None:
        reason = NO_UP
    elif found.zero is None:
        reason = f"the gyroscope was nowhere seen at rest, and its zero may be off by {ZERO_DEG_S:.0f} deg/s"
    if reason:
        return missing(title, unit, reason)
    drift = max(found.zero.drift_deg_s, LEAST_ZERO_DEG_S)
    made = []
    for name, span, part in _parts(found):
        figures = spin_figures(found.time_s[part], found.spin_deg_s[part], max(3.0, 3.0 * drift))
        if figures:
            made.append((name, span, part, figures))
    if not made:
        return missing(title, unit, "there are too few readings of the gyroscope in flight")
    name, span, part, figures = made[0]
    median, seen = figures["median_deg_s"], seen_percent(found, span)
    uncertainty = RATE_SCALE * median + 2.0 * drift
    text = f"{WAYS[name]} the box usually turned at about {{value}}, give or take {{uncertainty}}"
    text += ": once round in {round}." if median > 2.0 * uncertainty else "."
    least = "at least " if seen is not None and seen < ENOUGH_PERCENT else ""
    turns, changes = round(figures["turns"]), figures["changes"]
    if turns:
        text += " Both ways together it" if changes else " It"
        text += f" went round {least}{times(turns)}"
        text += f", and it changed its direction {least}{times(changes)}." if changes else ", always the same way."
    columns = [["part", ""], ["median", "deg/s"], ["95th percentile", "deg/s"], ["turns", "1"],
               ["changes of direction", "1"], ["time", "s"]]  # fmt: skip
    rows = [
        [name, *(round(row[key], 2) for key in ("median_deg_s", "p95_deg_s", "turns")), row["changes"],
         round(row["seconds"])] for name, _, _, row in made
    ]  # fmt: skip
    method = "rate about the upright axis, running mean over 1 s, median of its size"
    return statement(
        title, text, value=median, unit=unit, decimals=1, uncertainty=uncertainty, span=case.span(*span),
        says={"round": Quantity(360.0 / median if median else None, "s")}, caveats=usual_caveats(found),
        coverage_percent=seen, table={"columns": columns, "rows": rows},
        evidence=[
            evidence("value", "motion.rate", method, part.stop - part.start),
            evidence("zero", "motion.rate", f"median of {found.zero.seconds:.0f} s at rest on the ground"),
        ],
    )  # fmt: skip


def swing(case, found, title, unit):
    """Its value is the root mean square angle from the vertical in the climb, or without a climb in the fall."""
    made = []
    for name, span, part in _parts(found):
        figures = swing_figures(found.time_s[part], found.tilt[part], found.felt[part])
        if figures:
            made.append((name, span, part, figures))
    if not made:
        reason = "the readings in climb and fall without a gap make up less than four minutes"
        if np.median(np.diff(found.time_s)) > SLOWEST_STEP_S:
            reason = f"the motion sensor was read less often than every {SLOWEST_STEP_S} s"
        return missing(title, unit, NO_UP if found.up is None else reason)
    name, span, part, figures = made[0]
    text = f"{WAYS[name]} the box swung to and fro, usually {{value}} away from hanging straight down, "
    text += "give or take {uncertainty}."
    caveats, share = usual_caveats(found), RATE_SCALE
    if found.zero is None:
        # A spin that is wrong by that much turns the swing's direction, as if it swung at other periods.
        share = ZERO_DEG_S / 360.0 * (figures.period_s or SHORTEST_SWING_S)
        share = float(np.hypot(RATE_SCALE, share))
        caveats.append("the gyroscope was nowhere seen at rest, so how fast the box spun meanwhile is not known")
    elif figures.period_s is not None:
        text += " Once to and fro took {period}, as it takes a weight on a string of {length}."
    columns = [["part", ""], ["root mean square", "deg"], ["exceeded 1 % of the time", "deg"], ["period", "s"],
               ["uncertainty of the period", "s"], ["length of a simple pendulum", "m"],
               ["felt by the accelerometer", "deg"]]  # fmt: skip
    rows = [_swing_row(name, row, found.zero is not None) for name, _, _, row in made]
    method = "root mean square of the rates across, turned back by the spin and integrated between 0.06 and 2 Hz"
    return statement(
        title, text, value=figures.rms_deg, unit=unit, decimals=1, uncertainty=share * figures.rms_deg + 0.05,
        span=case.span(*span), caveats=caveats, coverage_percent=seen_percent(found, span),
        table={"columns": columns, "rows": rows},
        says={"period": Quantity(figures.period_s, "s", 1), "length": Quantity(figures.length_m, "m", 1)},
        evidence=[
            evidence("value", "motion.rate", method, int(np.isfinite(found.tilt[part]).sum())),
            evidence("period", "motion.rate", "Welch's averaged periodogram, Hann windows of 120 s"),
            evidence("length", "motion.rate", "g T^2 / (4 pi^2); balloon, line and box are no simple pendulum"),
            evidence("felt", "motion.acceleration", "direction of the force; what swings feels less than it leans"),
        ],
    )  # fmt: skip


def _swing_row(name, figures, knows_period):
    period = [None, None, None]
    if knows_period and figures.period_s is not None:
        period = [figures.period_s, 2.0 * figures.period_uncertainty_s, figures.length_m]
    numbers = [figures.rms_deg, figures.largest_deg, *period, figures.felt_deg]
    return [name, *(None if number is None else round(number, 2) for number in numbers)]
