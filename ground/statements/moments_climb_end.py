"""Statements about how the climb ended, and about a float."""

import numpy as np

from ground.analyse.climb_end import CUT, FALL, FLOAT, LEAST_FLOAT_S, SLOW, UNKNOWN
from ground.analyse.height_error import height_error_m
from ground.statements.quantity import Quantity
from ground.statements.shared import at_text
from ground.statements.statement import evidence, missing, statement

TEXTS = {
    FALL: "The climb ended {when}, {value} above the sea, and the payload fell at once: the balloon burst, or it "
    "was cut loose.",
    CUT: "The climb ended {when}, {value} above the sea: the balloon was probably cut loose, because a switch "
    "changed {earlier} before the fall.",
    SLOW: "The climb ended {when}, give or take {spread}, {value} above the sea, and then the balloon sank slowly "
    "instead of bursting. It probably leaked.",
}
METHOD = f"time of {LEAST_FLOAT_S:.0f} s or more within which the heights neither rise nor fall"
CANNOT_TELL = "heights alone cannot tell a burst from a balloon that was cut loose"


def statements(case):
    """Give climb_end, float_time."""
    end = case.moments.climb_end
    return {"climb_end": _climb_end(end, case), "float_time": _float_time(end, case)}


def _climb_end(end, case):
    """Its value is the height at which the climb ended."""
    title = "End of the climb"
    if end.kind == UNKNOWN:
        return missing(title, "m", end.reason or "the data do not show it")
    by_fix = case.heights.at(end.time_s)[1] == case.heights.gnss.source
    says = {"when": at_text(case, end.time_s), "spread": f"{2.0 * end.uncertainty_s:.0f} s"}
    text, caveats = TEXTS.get(end.kind), []
    if end.kind == FLOAT:
        text = "The balloon stopped climbing {when}, give or take {spread}, {value} above the sea, and floated "
        if end.fall_s is not None:
            vague = f", give or take {2.0 * end.fall_uncertainty_s:.0f} s" if end.fall_uncertainty_s > 2.0 else ""
            text += f"until it fell {{fell}}{vague}: it burst then, or was cut loose."
            says["fell"] = at_text(case, end.fall_s)
        else:
            text += "until the data end." if end.ends_with_data else "until it came down slowly."
    if end.fall_s is not None and end.switch_s is None:
        caveats.append(CANNOT_TELL)
    if end.switch_s is not None:
        says["earlier"] = Quantity(end.fall_s - end.switch_s, "s", 1)
        caveats.append("what the switch does is not in the data")
    if end.kind == SLOW:
        caveats.append("that it leaked is a guess; the heights show only that it sank slowly")
    still_m = (end.rate_m_s or 0.0) * end.uncertainty_s  # by which it rose while the end is not sure
    series = case.heights.combined.between(end.time_s - 60.0, end.time_s + 60.0)
    rests_on = [evidence("value", series.source, "course of the heights around the end of the climb", len(series))]
    if end.switch_s is not None:
        rests_on.append(evidence("switch", "event.switch changed", "the last one before the fall", 1))
    return statement(
        title, text, value=end.height_m, unit="m", says=says, evidence=rests_on, caveats=caveats,
        uncertainty=2.0 * float(np.hypot(height_error_m(case.heights, end.time_s, by_fix), still_m)),
        span=case.span(end.time_s - 60.0, (end.fall_s or end.time_s) + 60.0),
        uncertainty_s=2.0 * end.uncertainty_s, height_m=end.height_m, **case.at(end.time_s, case.heights.combined),
    )  # fmt: skip


def _float_time(end, case):
    title = "Float"
    if end.kind == UNKNOWN:
        return missing(title, "s", "the data do not show how the climb ended")
    source = case.heights.combined.source
    if end.kind != FLOAT:
        text = "It did not float: high up it never stayed at one height for as long as "
        return statement(
            title, f"{text}{LEAST_FLOAT_S / 60:.0f} minutes.", value=0.0, unit="s",
            span=case.span(case.phases.climb_s, end.time_s), evidence=[evidence("value", source, METHOD)],
        )  # fmt: skip
    seconds = end.float_end_s - end.float_start_s
    fall_error_s = end.fall_uncertainty_s if end.fall_s is not None else end.uncertainty_s
    spread_s = 2.0 * float(np.hypot(end.uncertainty_s, fall_error_s))
    count = len(case.heights.combined.between(end.float_start_s, end.float_end_s))
    text = "It floated for {time}, give or take {spread}, between {lowest} and {highest} above the sea."
    caveats = ["the data end while it still floats, so it floated longer"] if end.ends_with_data else []
    return statement(
        title, text, value=seconds, unit="s", uncertainty=spread_s,
        says={
            "time": f"{round(seconds / 60)} min", "lowest": Quantity(end.lowest_m, "m"),
            "spread": f"{spread_s / 60:.1f} min", "highest": Quantity(end.highest_m, "m"),
        },
        evidence=[evidence("value", source, METHOD, count)],
        span=case.span(end.float_start_s, end.float_end_s), caveats=caveats,
        table={
            "columns": [["from", "s"], ["to", "s"], ["lowest", "m"], ["highest", "m"]],
            "rows": [[
                round(float(case.since_launch_s(end.float_start_s)), 1),
                round(float(case.since_launch_s(end.float_end_s)), 1), round(end.lowest_m, 1),
                round(end.highest_m, 1),
            ]],
        },
    )  # fmt: skip
