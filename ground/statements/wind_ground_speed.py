"""The statement about the greatest speed over ground."""

from dataclasses import replace

import numpy as np

from ground.analyse.extremes import COVER_GAP_S, Extreme, coverage
from ground.analyse.ground_speed import greatest_ground_speed
from ground.analyse.heights import valid_fixes
from ground.statements.shared import ends_at_top, of_extreme
from ground.statements.statement import LOW, missing
from ground.statements.wind_facts import drift
from ground.statements.wind_words import NOT_TO_THE_TOP, SOURCE

NO_SPEED = "there are too few fixes to tell a speed"
UNSEEN_M = 250.0  # heights so far from any fix count as unseen
OTHER_PASS_M_S = 1.5  # the wind at a height, an hour later and some ten kilometres on (common practice, no source)


STEP_S, MOST_STEPS = 5.0, 10_000


def ground_speed(case):
    """Make the statement greatest_ground_speed."""
    window = case.window
    told = valid_fixes(case.timeline, ("ground_speed_m_s",)).between(window.start_s, window.end_s)
    time_s, latitude, longitude, height_m, _ = case.once(drift)
    inside = (time_s >= window.start_s) & (time_s <= window.end_s)
    places = [column[inside] for column in (time_s, latitude, longitude, height_m)]
    found = greatest_ground_speed(told.time_s, told["ground_speed_m_s"], *places)
    if found is None:
        return missing("Top ground speed", "m/s", NO_SPEED)
    share = coverage(found.used_s, window.start_s, window.end_s)
    extreme = Extreme(
        found.speed_m_s, found.time_s, method=found.method, source="fix.ground_speed_m_s" if found.told else SOURCE,
        samples=len(found.used_s), coverage=share,
    )  # fmt: skip
    height_m, height_source = case.heights.at(found.time_s)
    extreme = replace(extreme, height_m=height_m, height_source=height_source)
    text = "The greatest speed over ground was {value}, give or take {uncertainty}, {where}at {when}."
    spread = _with_gaps(case, found)
    if spread is None:
        text = "The greatest speed over ground was at least {value}, {where}at {when}. "
        text += "It may have been faster at heights where the payload's place is not known."
    text = text.replace("{where}", "" if height_m is None else "at {height}, ")
    made = of_extreme(case, "Top ground speed", text, extreme, "m/s", 1, uncertainty=spread)
    if spread is None:
        made["caveats"].append("at some heights there are no fixes, and it may have been faster there")
    if ends_at_top(case):
        made["caveats"].append(NOT_TO_THE_TOP)
        made["confidence"] = LOW
        made["confidence"] = LOW
    at = case.at(found.time_s, valid_fixes(case.timeline, ("latitude_deg",)))
    return {**made, **at}


def _with_gaps(case, found):
    """The uncertainty of a GroundSpeed, with what gaps of the fixes may hide; None if that is anybody's guess:
    heights at which the payload was never seen.
    """
    heights, window = case.heights.combined, case.window
    times = np.concatenate([[window.start_s], found.used_s, [window.end_s]])
    gaps = np.flatnonzero(np.diff(times) > COVER_GAP_S)
    if len(gaps) == 0 or len(heights) == 0:
        return found.uncertainty_m_s
    seen_m = np.sort(np.interp(found.used_s, heights.time_s, heights["height_m"]))
    for gap in gaps:
        step_s = max(STEP_S, (times[gap + 1] - times[gap]) / MOST_STEPS)  # a date can jump by years
        unseen_m = np.interp(np.arange(times[gap], times[gap + 1], step_s), heights.time_s, heights["height_m"])
        unseen_m = np.append(unseen_m, heights.between(times[gap], times[gap + 1])["height_m"])
        above = np.searchsorted(seen_m, unseen_m)
        away_m = np.minimum(
            np.abs(seen_m[np.minimum(above, len(seen_m) - 1)] - unseen_m),
            np.abs(seen_m[np.maximum(above - 1, 0)] - unseen_m),
        )
        if away_m.max() > UNSEEN_M:
            return None
    return float(np.hypot(found.uncertainty_m_s, OTHER_PASS_M_S))  # it passed them once more, in other gusts
