"""Statements about the fall: how fast, under which canopy, and how it met the ground."""

import numpy as np

from ground.analyse.canopy import AFTER_BURST_S
from ground.analyse.extremes import coverage
from ground.analyse.fall_speeds import greatest_speed
from ground.analyse.moment import widest_gap
from ground.statements import canopy
from ground.statements.fall_found import caveats_of, find_fall
from ground.statements.landing_speed import TITLE as LANDING
from ground.statements.landing_speed import landing_speed
from ground.statements.quantity import Quantity
from ground.statements.shared import at_text, share_percent, top_is_seen
from ground.statements.statement import evidence, missing, statement

__all__ = ["find_fall", "statements"]

LEAST_PEAK_GAP_S = 15.0  # a longer gap after the burst can hide where the fall is fastest
TITLES = {
    "greatest_fall_speed": ("Top fall speed", "m/s"), "fall_curve": ("The fall", "m/s"), **canopy.TITLES,
    "landing_speed": LANDING,
}  # fmt: skip


def statements(case):
    """Give greatest_fall_speed, fall_curve, ballistic_coefficient, drag_area, canopy, landing_speed."""
    found = case.once(find_fall)
    if found.reason:
        return {key: missing(*names, found.reason) for key, names in TITLES.items()}
    return {
        "greatest_fall_speed": _greatest(case, found),
        "fall_curve": _curve(case, found),
        **canopy.statements(case, found),
        "landing_speed": landing_speed(case, found),
    }


def _greatest(case, found):
    names = TITLES["greatest_fall_speed"]
    if case.moments.burst.in_gap and not top_is_seen(case):
        return missing(*names, "the heights have a gap at the beginning of the fall, where it is fastest")
    from_s = found.start_s
    gap_s, _ = widest_gap(found.curve, from_s + AFTER_BURST_S, from_s + 45.0)
    if not found.carried and LEAST_PEAK_GAP_S < gap_s < np.inf:
        return missing(*names, f"the speeds have a gap of {gap_s:.0f} s after the burst, where it is fastest")
    late_s = float(found.curve.time_s[0]) - from_s
    if late_s > LEAST_PEAK_GAP_S + 3.0 * float(np.median(np.diff(found.curve.time_s))):
        return missing(*names, "the data have a gap at the beginning of the fall, where it is fastest")
    peak = greatest_speed(found.curve, found.top_s)
    if peak is None:
        return missing(*names, "the data hold no fall")
    value, uncertainty, time_s, height_m = peak
    known_m = case.heights.at(time_s)[0]  # the curve's heights may be to another scale
    height_m = height_m if known_m is None else known_m
    caveats = caveats_of(found)
    if case.phases.climb_s is None:
        caveats.append("the data begin in the fall, and it may have been faster before")
    uncertainty = float(np.hypot(uncertainty, 2.0 * value * float(np.interp(time_s, *found.rate_share))))
    verb = "sank" if found.carried else "fell"
    text = f"It {verb} fastest {{when}}, {{height}} above the sea: at {{value}}, give or take {{uncertainty}}."
    method = (
        "greatest of the speeds"
        if found.speed_source.startswith("fix.vertical")
        else "greatest of Theil-Sen slopes of nine steps"
    )
    series = case.heights.combined.between(found.top_s, found.end_s)
    return statement(
        names[0], text, value=value, unit="m/s", decimals=1, uncertainty=uncertainty, height_m=height_m,
        says={"height": Quantity(height_m, "m"), "when": at_text(case, time_s)},
        evidence=[
            evidence("value", found.speed_source, method, len(found.curve)), evidence("height", series.source),
        ],
        caveats=caveats, **case.at(time_s, series), span=case.span(found.top_s, found.end_s),
        coverage_percent=share_percent(coverage(series.time_s, found.top_s, found.end_s)),
    )  # fmt: skip


def _curve(case, found):
    names = TITLES["fall_curve"]
    rows = found.bands
    if not rows:
        return missing(*names, "too little of the fall is in the data")
    part = found.curve.where(found.curve.time_s >= found.start_s)
    fallen_m = float(part.height_m[0] - part.height_m[-1])
    span_s = float(part.time_s[-1] - part.time_s[0])
    if not span_s > 0:
        return missing(*names, "too little of the fall is in the data")
    mean = fallen_m / span_s
    low, high = rows[0], rows[-1]
    text = f"It {'sank' if found.carried else 'fell'} at {{value}} on average: at {{high}} around {{high_m}}"
    text += " and at {low} around {low_m}." if len(rows) > 1 else "."
    columns = [
        ["bottom", "m"], ["top", "m"], ["fall speed", "m/s"], ["uncertainty", "m/s"],
        ["expected at one drag area", "m/s"], ["samples", "1"],
    ]  # fmt: skip
    table = [
        [
            round(bottom_m, 1), round(top_m, 1), round(speed, 2), round(spread, 2),
            None if expected is None else round(expected, 2), samples,
        ]
        for bottom_m, top_m, speed, spread, expected, samples in rows
    ]  # fmt: skip
    return statement(
        names[0], text, value=mean, unit="m/s", decimals=1, uncertainty=2.0 * float(np.hypot(10.0, mean) / span_s),
        says={
            "high": Quantity(high[2], "m/s", 1), "high_m": Quantity(_rounded((high[0] + high[1]) / 2), "m"),
            "low": Quantity(low[2], "m/s", 1), "low_m": Quantity(_rounded((low[0] + low[1]) / 2), "m"),
        },
        evidence=[
            evidence("value", found.speed_source, "height lost over time; in bands means of speeds", len(part)),
            evidence("expected", "pressure.pressure_hPa, air.temperature_degC", "drag equation with the slowing "
                     "down by denser air, one drag area"),
        ],
        span=case.span(part.time_s[0], part.time_s[-1]), caveats=caveats_of(found),
        table={"columns": columns, "rows": table},
        coverage_percent=share_percent(coverage(part.time_s, found.start_s, found.end_s)),
    )  # fmt: skip


def _rounded(height_m):
    """To 100 m, as it is the middle of a band."""
    return 100.0 * round(height_m / 100.0)
