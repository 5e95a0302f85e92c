"""Statements about the tropopauses of a flight, and about the warmer air above the first one."""

import numpy as np

from ground.analyse.air_extremes import EVEN_M, rise_above, widest_hole
from ground.statements.air_profile import find_fall_share, find_other_profile, find_profile, find_tropopauses
from ground.statements.air_words import SUNLIGHT, blur_k, doubts, listed, no_profile_of, rests_on, span_of
from ground.statements.quantity import Quantity
from ground.statements.statement import LOW, MEDIUM, missing, statement
from ground.statements.thermometer import ZERO_K, find_thermometer

FIRM_SHARE, FIRM_BESIDE_RIVAL = 0.8, 0.95
NEAR_M, WIDE_M = 2500.0, 300.0  # gaps that matter to a tropopause
SHOWS_SHARE = 0.5  # a further tropopause counts if so many of the repetitions have it
HOLE_M = 1500.0
GAP_K_M = 0.004  # about as steeply as temperatures change above a tropopause (common practice, no source)
COLUMNS = [
    ["height", "m"], ["geopotential height", "m"], ["temperature", "degC"], ["pressure", "hPa"],
    ["give or take", "m"], ["found in", "percent"],
]  # fmt: skip


def _none_found(case, title, unit, **more):
    """The statement that no tropopause was found, or None."""
    nothing, found = no_profile_of(case, title, unit), case.once(find_tropopauses)
    return nothing or (None if found.levels else missing(title, unit, found.reason, **more))


def _table(levels):
    rows = [
        [
            round(one.height_m, 1), round(one.geopotential_height_m, 1), round(one.temperature_k - ZERO_K, 2),
            round(one.pressure_hpa, 1) if np.isfinite(one.pressure_hpa) else None, round(one.uncertainty_m),
            round(100.0 * one.share),
        ]
        for one in levels
    ]  # fmt: skip
    return {"columns": COLUMNS, "rows": rows} if rows else None


def tropopause(case):
    """The first tropopause by the WMO's definition."""
    title, profile, found = "Tropopause", case.once(find_profile), case.once(find_tropopauses)
    method = "WMO definition (1957): 2 K/km or less to all levels within 2 km; profile smoothed over 100 to 200 m"
    nothing = _none_found(case, title, "m", span=span_of(case))
    if nothing:
        return nothing
    level = found.levels[0]
    caveats, confidence = doubts(case, level.temperature_k), None
    if level.share < FIRM_SHARE or found.rival_m is not None and level.share < FIRM_BESIDE_RIVAL:
        rival = f", and {found.rival_m:.0f} m is nearly as good" if found.rival_m is not None else ""
        caveats.append(
            f"only {100 * level.share:.0f} % of the repetitions with noise and other smoothing found it{rival}"
        )
        confidence = LOW
    if found.floor != "pressure":
        caveats.append(
            "without air pressure the rule's limit of 500 hPa was put at its height in the standard atmosphere"
        )
    known = profile.known()
    gaps_m = np.diff(profile.height_m[known & (np.abs(profile.height_m - level.height_m) < NEAR_M)])
    gap_m = float(gaps_m.max()) if len(gaps_m) and gaps_m.max() > WIDE_M else 0.0
    if gap_m:
        caveats.append(f"near it no temperature is known for {gap_m:.0f} m of height")
    time_s = float(profile.time_s[known][np.argmin(np.abs(profile.height_m[known] - level.height_m))])
    text = "The tropopause, above which the air almost stops growing colder, was at {value}, give or take "
    text += "{uncertainty}, at {cold}"
    text += " and {pressure}." if np.isfinite(level.pressure_hpa) else "."
    says = {
        "cold": Quantity(level.temperature_k - ZERO_K, "degC", 1),
        "pressure": Quantity(level.pressure_hpa, "hPa"),
    }
    return statement(
        title, text, value=level.height_m, unit="m", uncertainty=float(np.hypot(level.uncertainty_m, gap_m / 2)),
        says=says, evidence=rests_on(case, method), span=span_of(case), caveats=caveats, confidence=confidence,
        height_m=level.height_m, table=_table(found.levels[:1]),
        **case.at(time_s, case.once(find_thermometer).series),
    )  # fmt: skip


def further_tropopauses(case):
    """How many tropopauses there are above the first one, and where."""
    title = "Further tropopauses"
    nothing = _none_found(case, title, "1")
    if nothing:
        return nothing
    others = case.once(find_tropopauses).levels[1:]
    firm = [level for level in others if level.share >= SHOWS_SHARE]
    caveats = ["weather services differ in which further tropopauses they report"]
    if len(firm) < len(others):
        caveats.append("some show only with little smoothing; the table has them too")
    says = {}
    text = "Above the first tropopause the rule finds no other one, as far up as temperatures were measured."
    if firm:
        heights, says = listed(level.height_m for level in firm)
        text = f"Above the first tropopause the rule finds {{value}} more, at {heights}."
    doubtful = sum(level.share < FIRM_BESIDE_RIVAL for level in others)
    return statement(
        title, text, value=len(firm), unit="1", says=says, uncertainty=float(doubtful) or None, caveats=caveats,
        table=_table(others), span=span_of(case),
        evidence=rests_on(case, "WMO definition (1957) above a layer of 1 km that cools by more than 3 K/km"),
    )  # fmt: skip


def warming_above(case):
    """By how much the air grows warmer above the coldest level from the tropopause on."""
    title, profile, other = "Warmer again above", case.once(find_profile), case.once(find_other_profile)
    nothing = _none_found(case, title, "K")
    if nothing:
        return nothing
    from_m = case.once(find_tropopauses).levels[0].height_m
    if case.once(find_thermometer).at_end:
        return missing(title, "K", "the coldest air lay beyond the end of the thermometer's scale")
    rise = rise_above(profile.height_m, profile.temperature_k, from_m)
    if rise is None:
        return missing(title, "K", "too few temperatures above the tropopause")
    heights = case.heights.combined.between(case.window.start_s, case.window.end_s)
    low_m, high_m = widest_hole(profile.height_m[profile.known()], from_m, float(heights["height_m"].max()))
    if high_m - low_m > HOLE_M:
        reason = f"no temperature is known from {low_m / 1000:.1f} to {high_m / 1000:.1f} km"
        return missing(title, "K", reason)
    again = rise_above(other.height_m, other.temperature_k, from_m) if len(other) else None
    parts_k = (
        2.8 * float(np.nanmedian(profile.noise_k)),  # k = 2, of a difference
        again.kelvin - rise.kelvin if again else 1.0,
        0.02 * rise.kelvin,
        case.once(blur_k),
        GAP_K_M * (high_m - low_m) if high_m - low_m > EVEN_M else 0.0,
    )
    uncertainty = float(np.sqrt(np.sum(np.square(parts_k))) + 0.4 + 1.6 * case.once(find_fall_share))
    caveats = [*doubts(case, float(np.nanmin(profile.temperature_k))), SUNLIGHT]
    text = "Above {low} the air grew warmer again, by {value}, give or take {uncertainty}, up to {high}."
    if rise.kelvin < max(uncertainty, 1.0):
        text = "Above the tropopause, up to {top}, it hardly grew warmer: by {value}, give or take {uncertainty}."
    says = {"low": rise.low_m, "high": rise.high_m, "top": float(np.nanmax(profile.height_m[profile.known()]))}
    return statement(
        title, text, value=rise.kelvin, unit="K", decimals=1, uncertainty=uncertainty,
        says={name: Quantity(height_m, "m") for name, height_m in says.items()}, caveats=caveats,
        confidence=MEDIUM if len(caveats) == 1 else None, span=span_of(case), height_m=rise.high_m,
        evidence=rests_on(case, "warmest level above the coldest one from the tropopause on, smoothed over 100 m"),
    )  # fmt: skip
