"""Statements about how the air's temperature changed with height: lapse rates, and inversions."""

import numpy as np

from ground.analyse import lapse
from ground.analyse.profile import STEP_M
from ground.analyse.tropopause_in_noise import ONE_LEVEL_M
from ground.statements.air_profile import find_fall_share, find_other_profile, find_profile, find_tropopauses
from ground.statements.air_words import blur_k, doubts, evenly, no_profile_of, rests_on, span_of
from ground.statements.quantity import Quantity
from ground.statements.statement import missing, statement
from ground.statements.thermometer import ZERO_K

ALIKE_M = 200.0  # the lag's correction makes the noise of levels nearer than this alike
SHARE_BLURRED = 0.5
STANDARD_K_KM = 6.5  # ISO 2533
STANDARD_TROPOPAUSE_M = 11_000.0
RATE_COLUMNS = [
    ["from", "m"], ["to", "m"], ["colder upwards by", "K/km"], ["give or take", "K/km"], ["levels", "1"],
]  # fmt: skip
LAYER_COLUMNS = [
    ["layer", ""], ["from", "m"], ["to", "m"], ["temperature below", "degC"], ["warmer upwards by", "K"],
]  # fmt: skip


def lapse_rates(case):
    """The average lapse rate below the tropopause, and a table of one per kilometre."""
    title = "Cooling with height"
    nothing = no_profile_of(case, title, "K/km")
    if nothing:
        return nothing
    profile, other, found = (case.once(find) for find in (find_profile, find_other_profile, find_tropopauses))
    known_m = profile.height_m[profile.known()]
    low_m = float(known_m.min())
    top_m = found.levels[0].height_m - 500.0 if found.levels else STANDARD_TROPOPAUSE_M
    top_m = min(top_m, float(known_m.max()))
    columns, rows = (profile.height_m, profile.temperature_k, profile.noise_k), []
    blurred = case.once(find_fall_share)
    for layer in lapse.fixed_layers(*columns, correlation_m=ALIKE_M):
        error = _rate_error(profile, other, layer) + 0.3 * blurred
        rows.append([layer.from_m, layer.to_m, round(layer.rate_k_km, 2), round(error, 2), layer.levels])
    table = {"columns": RATE_COLUMNS, "rows": rows}
    whole = lapse.fit_layer(*columns, low_m, top_m, ALIKE_M)
    if whole is None or top_m - low_m < 500.0:
        reason = "the temperatures do not span enough heights below the tropopause"
        return missing(title, "K/km", reason, table=table if rows else None)
    way = "colder" if whole.rate_k_km >= 0.0 else "warmer"
    return statement(
        title,
        f"From {{low}} up to {{high}} the air grew {way} by {{change}} on average, give or take {{uncertainty}}; "
        "in the standard atmosphere it grows colder by {standard}.",
        value=whole.rate_k_km, unit="K/km", decimals=1,
        uncertainty=_rate_error(profile, other, whole) + 0.1 * blurred,
        says={
            "low": Quantity(low_m, "m"), "high": Quantity(top_m, "m"),
            "change": Quantity(abs(whole.rate_k_km), "K/km", 1), "standard": Quantity(STANDARD_K_KM, "K/km", 1),
        },
        evidence=rests_on(case, "straight line over geometric height, least squares", whole.levels),
        span=span_of(case), caveats=doubts(case, float(np.nanmin(profile.temperature_k))), table=table,
    )  # fmt: skip


def _rate_error(profile, other, layer):
    """Expanded uncertainty of a lapse rate: noise, lag, and a thermometer that is wrong by 0.5 % of a change."""
    depth_m = layer.to_m - layer.from_m
    again = None
    if len(other):
        again = lapse.fit_layer(other.height_m, other.temperature_k, other.noise_k, layer.from_m, layer.to_m)
    lag_part = abs(again.rate_k_km - layer.rate_k_km) if again else 1.0
    # The levels' own heights are good to some metres, and medians of few samples wander: 0.15 K from one end to the
    # other. Levels that are missing may have been otherwise.
    wander = 0.15 / (depth_m / 1000.0)
    missing_part = max(1.0 - layer.levels * STEP_M / depth_m, 0.0)
    parts = (2.0 * layer.standard_k_km, lag_part, wander, missing_part, 0.005 * layer.rate_k_km)
    return float(np.sqrt(np.sum(np.square(parts))))


def inversions(case):
    """The strongest inversion below the tropopause, and a table of all, and of the layers of one temperature."""
    title = "Inversions"
    nothing = no_profile_of(case, title, "K")
    if nothing:
        return nothing
    levels = case.once(find_tropopauses).levels
    profile = case.once(find_profile)
    z, t = evenly(profile)
    grounds_m = [moment.height_m for moment in (case.moments.launch, case.moments.landing)]
    ground_m = next((height_m for height_m in grounds_m if height_m is not None), -np.inf)
    limit_m = levels[0].height_m - ONE_LEVEL_M if levels else np.inf
    spans = _spans(profile)
    rows = [[_kind(span, ground_m, limit_m), *_row(span)] for span in spans]
    rows += [["nearly one temperature", *_row(span)] for span in lapse.isothermal_layers(z, t)]
    rows.sort(key=lambda row: row[1])
    common = {
        "evidence": rests_on(case, "turning points of a profile smoothed over 100 m, 1 K apart or more"),
        "span": span_of(case), "caveats": doubts(case),
        "table": {"columns": LAYER_COLUMNS, "rows": rows} if rows else None,
    }  # fmt: skip
    strongest = max((span for span in spans if span.from_m < limit_m), key=lambda span: span.rise_k, default=None)
    if strongest is None:
        where = "Below the tropopause" if levels else "As far up as the temperatures reach,"
        return statement(
            title, f"{where} the air nowhere grew warmer upwards by {{least}} or more.", value=0.0, unit="K",
            uncertainty=lapse.INVERSION_K, says={"least": Quantity(lapse.INVERSION_K, "K")}, **common,
        )  # fmt: skip
    place = "From {low} up to {high}"
    if _at_ground(strongest, ground_m):
        place = "At the ground, from {low} up to {high},"
    return statement(
        title,
        f"{place} the air grew warmer with height instead of colder, by {{value}}, "
        "give or take {uncertainty}; that is called an inversion.",
        value=strongest.rise_k, unit="K", decimals=1, uncertainty=_inversion_error(case, strongest),
        says={"low": Quantity(strongest.from_m, "m"), "high": Quantity(strongest.to_m, "m")},
        height_m=strongest.to_m, **common,
    )  # fmt: skip


def _at_ground(span, ground_m):
    return span.from_m <= ground_m + lapse.AT_THE_GROUND_M


def _kind(span, ground_m, limit_m):
    if span.from_m >= limit_m:
        return "stratosphere"
    return "inversion at the ground" if _at_ground(span, ground_m) else "inversion"


def _row(span):
    return [round(span.from_m), round(span.to_m), round(span.from_k - ZERO_K, 1), round(span.rise_k, 1)]


def _inversion_error(case, strongest):
    """Expanded uncertainty of a rise: noise at both ends, and what the other time constant makes of it."""
    profile, other = case.once(find_profile), case.once(find_other_profile)

    def moved_k(spans):
        near = [span for span in spans if span.from_m < strongest.to_m and span.to_m > strongest.from_m]
        return min((span.rise_k - strongest.rise_k for span in near), key=abs, default=strongest.rise_k)

    # What the smoothing over 100 m takes from a sharp turn, the levels of 50 m have taken a part of already.
    blurred_k = SHARE_BLURRED * moved_k(lapse.inversions(*evenly(profile)))
    noise_k = np.sqrt(8.0) * np.nanmedian(profile.noise_k)
    parts_k = (noise_k, moved_k(_spans(other)), blurred_k, case.once(blur_k))
    return float(np.sqrt(np.sum(np.square(parts_k))) + 0.2)


def _spans(profile):
    """The inversions of a profile, found where it is smooth, and measured where it is not."""
    levels = (profile.height_m, profile.temperature_k)
    return [lapse.sharpened(span, *levels) for span in lapse.inversions(*evenly(profile))]
