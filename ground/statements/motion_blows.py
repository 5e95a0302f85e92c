"""Statements about the blows that the box felt, its tumbling and its free fall."""

import numpy as np

from ground.analyse import blows
from ground.analyse.motion import GAP_S, SLOWEST_STEP_S, unseen_s
from ground.physics.atmosphere import STANDARD_GRAVITY_M_S2
from ground.statements.counts import times
from ground.statements.moments_climb_end import at_text
from ground.statements.motion_facts import NO_UP
from ground.statements.motion_limits import FORCE_SCALE, FORCE_ZERO_G, RATE_SCALE, sensor_ranges, usual_caveats
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, missing, statement

SPARSE_S = 0.05  # a blow lasts some hundredths of a second (common practice, no source)
NO_BLOW_G = 1.5  # a box that swings and is shaken by the wind feels as much (common practice, no source)
FREE_FALL_G = 0.3
FALLS_FREE_S = 30.0  # in air however thin the force is back after that
BY_FEELING = "that the fall began then is known only because the box felt weightless"


def _blow(case, found, title, span, moment, caveats):
    """moment: half a sentence that says what happened."""
    best = blows.strongest(found.time_s, found.force, *span)
    if best is None:
        return missing(title, "g", "there are no readings of the motion sensor around it")
    time_s, value, samples = best
    inside = found.time_s[found.within(span)]
    step_s = float(np.median(np.diff(inside))) if samples > 1 else np.inf
    widest_s = float(np.diff(np.concatenate([[span[0]], inside, [span[1]]])).max())
    caveats, gap = [*caveats], widest_s > max(GAP_S, 3.0 * step_s)
    seldom = f"one reading every {step_s:.2g} s" if samples > 1 else "a single reading"
    if step_s > SLOWEST_STEP_S and value < NO_BLOW_G:
        return missing(title, "g", f"{seldom} is too seldom to catch a blow")
    if gap and value < NO_BLOW_G:
        return missing(title, "g", f"there are no readings of the motion sensor for {widest_s:.1f} s around it")
    if step_s > SPARSE_S:
        caveats.append(f"{seldom} probably missed the peak, so the blow was harder")
    if gap:
        caveats.append(f"there are no readings for {widest_s:.1f} s around it")
    ranges = sensor_ranges(case)
    peak = np.abs(found.force[np.abs(found.time_s - time_s) < 1e-6]).max() / STANDARD_GRAVITY_M_S2
    if ranges and peak >= blows.NEAR_END * ranges[0]:
        caveats.append(f"it reached the end of the sensor's range of {ranges[0]:.0f} g, so the blow was harder")
    text = f"{moment}, {{when}}, the box felt a blow of {{value}} or more, give or take {{uncertainty}}."
    if value < NO_BLOW_G:
        text = f"{moment}, the sensor caught no blow; the most that the box felt was {{value}}, {{when}}."
    height_m, _ = case.heights.at(time_s)
    return statement(
        title, text + " At rest it feels {one}.", value=value, unit="g", decimals=1, caveats=caveats,
        uncertainty=FORCE_SCALE * value + FORCE_ZERO_G, span=case.span(*span), height_m=height_m,
        **case.at(time_s, found.series),
        says={"when": at_text(case, time_s), "one": Quantity(1.0, "g")},
        evidence=[
            evidence("value", "motion.acceleration", "largest size of the specific force; 1 g is rest", samples)
        ],
    )  # fmt: skip


def _by_feeling(found):
    return [BY_FEELING] if found.fall_felt else []


def burst_shock(case, found, title, unit):
    """The blow when the climb ended in a fall."""
    if found.fall_s is None:
        return missing(title, unit, found.fall_reason)
    reach_s = max(3.0, 2.0 * found.fall_spread_s)
    span = (found.fall_s - reach_s, found.fall_s + reach_s + 2.0)
    return _blow(case, found, title, span, "When the climb ended in a fall", _by_feeling(found))


def landing_shock(case, found, title, unit):
    """The blow of the landing."""
    landing, rest_s = case.moments.landing, case.phases.rest_s
    if landing.time_s is not None:
        reach_s = max(3.0, 4.0 * landing.uncertainty_s)
        span, caveats = (landing.time_s - reach_s, landing.time_s + reach_s + 5.0), ()
    elif rest_s is not None:
        # The blow at the beginning of a short fall is not the landing's.
        first_s = -np.inf if found.fall_s is None else found.fall_s + blows.CALM_S
        span = (min(max(rest_s - 90.0, first_s), rest_s), rest_s + 30.0)
        caveats = ("the time of the landing is known only roughly",)
    else:
        return missing(title, unit, landing.reason)
    return _blow(case, found, title, span, "At the landing", caveats)


def tumbling(case, found, title, unit):
    """How long the box tumbled after the climb, and how often it turned over."""
    if found.fall_s is None or found.up is None:
        return missing(title, unit, found.fall_reason or NO_UP)
    end_s = case.window.end_s
    trials = [
        blows.tumbling(found.time_s, found.rate, found.up, found.fall_s, end_s, usual) for usual in (2.0, 3.0)
    ]
    if None in trials:
        return missing(title, unit, "there are too few readings of the motion sensor in the fall")
    (seconds, turns, greatest), (other_s, other_turns, _) = trials
    caveats = usual_caveats(found) + _by_feeling(found)
    gaps_s = unseen_s(found.time_s, found.fall_s - 1.0, found.fall_s + max(seconds, 2.0 * blows.CALM_S))
    if gaps_s:
        caveats.append(f"there are no readings for {gaps_s:.1f} s of it")
    spread_s = found.fall_spread_s + 2.5 + abs(seconds - other_s)
    turns_uncertainty = RATE_SCALE * turns + abs(turns - other_turns) + gaps_s * greatest / 360.0
    text = "After the climb the box did not tumble: its fastest turn was {fast}."
    if seconds > 0:
        text = "After the climb the box tumbled for {value}, give or take {uncertainty}. "
        text += f"It turned over about {times(round(turns))}, at its wildest at {{fast}}: once in {{once}}."
    columns = [["tumbled for", "s"], ["turns", "1"], ["uncertainty of the turns", "1"], ["fastest", "deg/s"]]
    row = [round(number, 2) for number in (seconds, turns, turns_uncertainty, greatest)]
    method = "until the rate about the axes across (root mean square over 5 s) stays below twice the usual"
    return statement(
        title, text, value=seconds, unit=unit, uncertainty=spread_s if seconds else None, caveats=caveats,
        says={"fast": Quantity(greatest, "deg/s"), "once": Quantity(360.0 / max(greatest, 0.1), "s", 1)},
        span=case.span(found.fall_s, end_s), table={"columns": columns, "rows": [row]},
        evidence=[
            evidence("value", "motion.rate", method, found.samples((found.fall_s, end_s))),
            evidence("turns", "motion.rate", "rate about the axes across, integrated by the trapezoidal rule"),
        ],
    )  # fmt: skip


def free_fall(case, found, title, unit):
    """How long the box was nearly weightless after the climb."""
    if found.fall_s is None:
        return missing(title, unit, found.fall_reason)
    before_s = max(2.0, found.fall_spread_s)
    span = (found.fall_s - before_s, found.fall_s + FALLS_FREE_S)
    inside, gaps_s = found.samples(span), unseen_s(found.time_s, *span)
    if inside < 5:
        reason = "there are no readings of the motion sensor after the climb"
        return missing(title, unit, reason)
    if gaps_s:
        reason = f"the motion sensor has no readings for {gaps_s:.1f} s around the beginning of the fall"
        return missing(title, unit, reason)
    if (span[1] - span[0]) / inside > SLOWEST_STEP_S:
        return missing(title, unit, f"the motion sensor was read less often than every {SLOWEST_STEP_S} s")
    less, value, more = (
        blows.time_below_s(found.time_s, found.force, *span, FREE_FALL_G + off)
        for off in (-FORCE_ZERO_G, 0.0, FORCE_ZERO_G)
    )
    step_s = (span[1] - span[0]) / inside
    text = "After the climb the box was nearly weightless for {value}, give or take {uncertainty}: it felt less "
    text += "than {limit}, and at rest it feels {one}."
    return statement(
        title, text, value=value, unit=unit, decimals=1, uncertainty=max(value - less, more - value) + 2.0 * step_s,
        says={"limit": Quantity(FREE_FALL_G, "g", 1), "one": Quantity(1.0, "g")}, span=case.span(*span),
        caveats=_by_feeling(found),
        evidence=[evidence("value", "motion.acceleration", "time below 0.3 g, running median of 3", inside)],
    )  # fmt: skip
