"""The statement about the freezing level: the height above which the air is colder than 0 °C."""

import numpy as np

from ground.analyse.air_extremes import EVEN_M
from ground.analyse.lapse import freezing_levels
from ground.statements.air_profile import find_other_profile, find_profile, height_error_m
from ground.statements.air_words import blur_k, doubts, evenly, listed, no_profile_of, rests_on, span_of
from ground.statements.quantity import Quantity
from ground.statements.statement import missing, statement
from ground.statements.thermometer import ZERO_K, find_thermometer
from ground.statements.thermometer_kinds import tolerance_k

WEATHER_M = 12_000.0  # higher up 0 degC is another matter
UNKNOWN_M = 300.0  # if the other time constant shows no freezing level at all
LEAST_RATE_K_M = 0.001
ZERO = Quantity(0.0, "degC")


def freezing_level(case):
    """The highest passage through 0 degC in the troposphere, in words where it froze all the way up."""
    title = "Freezing level"
    nothing = no_profile_of(case, title, "m")
    if nothing:
        return nothing
    profile = case.once(find_profile)
    z, t = evenly(profile)
    z, t = z[z < WEATHER_M], t[z < WEATHER_M]
    if len(z) < 2:
        return missing(title, "m", f"no temperature was measured below {WEATHER_M / 1000:.0f} km")
    heights_m, rates = freezing_levels(z, t)
    lowest_m = float(np.nanmin(profile.height_m[profile.known()]))
    common = {
        "evidence": rests_on(case, "0 °C in a profile smoothed over 100 m, linear between"), "span": span_of(case),
        "table": _table(heights_m, rates) if len(heights_m) else None,
    }  # fmt: skip
    if len(heights_m) == 0 and t.max() < ZERO_K:
        text = "It was freezing all the way up: from {low} on, the air was colder than {zero}."
        says = {"low": Quantity(lowest_m, "m"), "zero": ZERO}
        return statement(title, text, unit="m", caveats=doubts(case), says=says, **common)
    if t[-1] >= ZERO_K:
        reason = f"the temperatures end at {z[-1] / 1000:.1f} km, where it was still warmer than 0 °C"
        return missing(title, "m", reason, **common)
    # In levels of 100 m it may come out a little below the lowest sample.
    height_m, rate = max(float(heights_m[-1]), lowest_m), float(rates[-1])
    caveats = doubts(case)
    gap_m = float(np.min(np.abs(profile.height_m[profile.known()] - height_m)))
    if gap_m > EVEN_M:
        caveats.append(f"the nearest temperature was measured {gap_m:.0f} m away")
    text = "Above {value}, give or take {uncertainty}, the air was colder than {zero}."
    says = {"zero": ZERO}
    if len(heights_m) > 1:
        words, lower = listed(heights_m[:-1])
        text += f" Further down it passed {{zero}} too, at {words}."
        says.update(lower)
    return statement(
        title, text, value=height_m, unit="m", uncertainty=_spread_m(case, profile, height_m, rate, gap_m),
        height_m=height_m, says=says, caveats=caveats, **common,
    )  # fmt: skip


def _table(heights_m, rates):
    rows = [[round(float(h), 1), round(float(r), 2)] for h, r in zip(heights_m, rates, strict=True)]
    return {"columns": [["height", "m"], ["warmer upwards by", "K/km"]], "rows": rows}


def _spread_m(case, profile, height_m, rate_k_km, gap_m):
    """Expanded uncertainty: the thermometer's over the rate there, lag, gap, and the heights' own."""
    z, t = evenly(case.once(find_other_profile))
    again_m, _ = freezing_levels(z[z < WEATHER_M], t[z < WEATHER_M])
    moved_m = min(abs(again_m - height_m)) if len(again_m) else UNKNOWN_M
    at = int(np.nanargmin(np.abs(profile.height_m - height_m)))
    noise_k = np.nan_to_num(profile.noise_k[at], nan=0.1)
    kelvin = 2.0 * np.hypot(float(tolerance_k(case.once(find_thermometer).chip, 0.0)) / np.sqrt(3.0), noise_k)
    kelvin = np.hypot(kelvin, case.once(blur_k))
    sideways_m = kelvin / max(abs(rate_k_km) / 1000.0, LEAST_RATE_K_M)
    return float(np.sqrt(np.sum(np.square([sideways_m, moved_m, gap_m, height_error_m(case, profile, height_m)]))))
