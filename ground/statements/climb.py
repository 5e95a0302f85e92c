"""Statements about the climb: how high, how fast, how steady."""

import numpy as np

from ground.analyse import climb as climbs
from ground.analyse import extremes
from ground.analyse.climb_end import FLOAT
from ground.analyse.height_error import height_error_m
from ground.analyse.phases import LEAST_CLIMB_M
from ground.statements.quantity import Quantity
from ground.statements.shared import climb_end_s, ends_at_top, of_extreme, rate_heights, share_percent, top_is_seen
from ground.statements.statement import evidence, missing, statement

BY_PRESSURE = "heights are from air pressure, without fixes and without the air's temperature"
TOP_M = 3.0  # standard deviation of a top from fitting it (own estimate)
FLOATED = "the time at nearly one height after the climb is left out"


def statements(case):
    """Give greatest_height, climb_rate, climb_steadiness, fastest_climb, slowest_climb."""
    return {
        "greatest_height": _greatest_height(case),
        "climb_rate": _rate(case),
        "climb_steadiness": _steadiness(case),
        "fastest_climb": _band(case, "Fastest climb", "fastest", np.nanargmax),
        "slowest_climb": _band(case, "Slowest climb", "slowest", np.nanargmin),
    }  # fmt: skip


def find_climb(case):
    """Give the Climb of a Case, for case.once: statements and plots share it. A float is no part of it."""
    window, launch, burst = case.window, case.moments.launch, case.moments.burst
    ended = case.moments.climb_end
    if case.heights.span_m() < LEAST_CLIMB_M or not np.isfinite(window.start_s):
        return climbs.Climb(reason="the data hold no climb")
    end_s = climb_end_s(case)
    rates = rate_heights(case, window.start_s, end_s)
    series = rates.series
    if len(series) == 0:
        return climbs.Climb(reason="the data hold no climb")

    def seen(index):
        """The height of a sample and its deviation."""
        by_fix = series["from_fix"][index] == 1
        deviation_m = height_error_m(case.heights, float(series.time_s[index]), by_fix, rates.rescaled)
        return float(series["height_m"][index]), deviation_m

    start = (window.start_s, launch.uncertainty_s, launch.height_m, launch.height_error_m)
    if launch.height_m is not None and rates.rescaled:
        start = (window.start_s, launch.uncertainty_s, *seen(0))
    # As high as it is seen, if no height is fitted to the end.
    end = (end_s, (ended and ended.uncertainty_s) or 5.0, *seen(-1))
    if burst.in_gap:
        end = (end_s, None, None, None)
    elif burst.time_s is not None and not rates.rescaled:
        end = (end_s, burst.uncertainty_s, burst.height_m, burst.height_error_m)
    return climbs.find_climb(series.time_s, series["height_m"], start, end, rates.share)


def _floated(case):
    return case.moments.climb_end is not None and case.moments.climb_end.kind == FLOAT


def _caveats(case, found):
    rates = rate_heights(case, found.start_s, found.end_s)
    lines = []
    if rates.standard > 0.2:
        lines.append(BY_PRESSURE)
    elif len(rates.series) and np.mean(rates.series["from_fix"]) < 0.8:
        lines.append("many heights are from air pressure, as fixes are missing")
    if _floated(case):
        lines.append(FLOATED)
    return lines


def _greatest_height(case):
    found = extremes.greatest_height(case.heights, case.window, case.moments.burst, top_is_seen(case))
    uncertainty = None
    if found.value is not None:
        by_fix = found.source == case.heights.gnss.source
        uncertainty = 2.0 * float(np.hypot(height_error_m(case.heights, found.time_s, by_fix), TOP_M))
    text, caveats = "At its highest it was {value} above the sea, give or take {uncertainty}, {at}.", []
    if found.time_s is not None and ends_at_top(case):
        text = f"As far as the data go, a{text[1:]}"
        caveats.append("the data begin or end there, so it may have been higher")
    if uncertainty and uncertainty > 100.0:
        caveats.append("the height is from air pressure, as there were no fixes at the top")
    return of_extreme(
        case, "Greatest height", text, found, "m", uncertainty=uncertainty, caveats=caveats,
        span=_span(case, case.window.start_s, case.window.end_s),
    )  # fmt: skip


def _span(case, start_s, end_s):
    return case.span(start_s, end_s) if np.isfinite(start_s) and np.isfinite(end_s) else None


def _rate(case):
    found = case.once(find_climb)
    if found.reason:
        return missing("Mean climb rate", "m/s", found.reason)
    begins = "Until it stayed at one height, it" if _floated(case) else "It"
    source = case.heights.combined.source
    line = found.line
    return statement(
        "Mean climb rate", f"{begins} climbed at {{value}} on average, give or take {{uncertainty}}.",
        value=found.rate_m_s, unit="m/s", decimals=2, climb=True, uncertainty=found.uncertainty_m_s,
        evidence=[
            evidence("value", source, found.method, found.samples),
            evidence(f"middle slope {line.slope:.2f} m/s", source, "Theil-Sen line, 95 % interval "
                     f"{line.low:.2f} to {line.high:.2f} m/s", line.samples),
        ],
        span=case.span(found.start_s, found.end_s), caveats=_caveats(case, found),
        coverage_percent=share_percent(found.coverage),
    )  # fmt: skip


def _steadiness(case):
    found = case.once(find_climb)
    percent, width = (None, None) if found.reason else climbs.spread_percent(found)
    if percent is None:
        reason = found.reason or "too little of the climb is in the data to compare its parts"
        return missing("Steadiness of the climb", "percent", reason)
    rates = found.band_rate_m_s
    thick_m = climbs.band_thickness_m(float(found.top_m[-1] - found.bottom_m[0]))
    caveats = _caveats(case, found)
    unseen = int(np.isnan(rates).sum())
    if unseen:
        caveats.append(f"{unseen} of {len(rates)} height bands {'is' if unseen == 1 else 'are'} not in the data")
    word = climbs.steadiness_word(percent)
    how = {1: "faster and faster, ", -1: "slower and slower, ", 0: ""}[climbs.tendency(found)]
    low, high = (Quantity(float(end(rates)), "m/s", 1, climb=True) for end in (np.nanmin, np.nanmax))
    rate = "{low}" if low.metric() == high.metric() else "{low} to {high}"
    text = f"The climb was {word.lower()}: it rose {how}at {rate} in each {{thick}} of height."
    return statement(
        "Steadiness of the climb", text,
        value=percent, unit="percent", uncertainty=width, table=_table(found),
        says={"low": low, "high": high, "thick": Quantity(thick_m, "m")},
        evidence=[evidence(
            "value", case.heights.combined.source, "fastest less slowest band over the middle one; height over "
            "time in each band; below 12 % is very steady, below 35 % quite, below 70 % not very", found.samples
        )],
        span=case.span(found.start_s, found.end_s), caveats=caveats, coverage_percent=share_percent(found.coverage),
    )  # fmt: skip


def _table(found):
    columns = [["bottom", "m"], ["top", "m"], ["climb rate", "m/s"], ["uncertainty", "m/s"], ["samples", "1"]]
    rows = []
    for index in range(len(found.bottom_m)):
        rate, width = found.band_rate_m_s[index], found.band_uncertainty_m_s[index]
        seen = bool(np.isfinite(rate))
        rows.append([
            round(float(found.bottom_m[index]), 1), round(float(found.top_m[index]), 1),
            round(float(rate), 3) if seen else None, round(float(width), 3) if seen else None,
            int(found.band_samples[index]),
        ])  # fmt: skip
    return {"columns": columns, "rows": rows}


def _band(case, title, word, choose):
    found = case.once(find_climb)
    if found.reason or np.isfinite(found.band_rate_m_s).sum() < 2:
        return missing(title, "m/s", found.reason or "too little of the climb is in the data to compare its parts")
    index = int(choose(found.band_rate_m_s))
    bottom_m, top_m = float(found.bottom_m[index]), float(found.top_m[index])
    return statement(
        title, f"It climbed {word} from {{bottom}} to {{top}}, at {{value}}.", value=found.band_rate_m_s[index],
        unit="m/s", decimals=1, climb=True,
        uncertainty=found.band_uncertainty_m_s[index], height_m=(bottom_m + top_m) / 2,
        says={"bottom": Quantity(bottom_m, "m"), "top": Quantity(top_m, "m")},
        evidence=[evidence(
            "value", case.heights.combined.source, "height gained over time in a height band",
            int(found.band_samples[index]),
        )],
        span=case.span(found.start_s, found.end_s), caveats=_caveats(case, found),
    )  # fmt: skip
