"""Statements about how cold the air was: the coldest of the flight, and the air at the ground."""

import numpy as np

from ground.analyse.air_extremes import colder_in_gaps, coldest_level
from ground.analyse.extremes import coverage
from ground.analyse.lag import sample_noise
from ground.analyse.series import running_median
from ground.statements.air_profile import find_fall_share, find_other_profile, find_profile, way_profile
from ground.statements.air_words import blur_k, doubts, expanded_k, no_thermometer, rests_on, span_of
from ground.statements.quantity import Quantity
from ground.statements.shared import ends_at_top, share_percent
from ground.statements.statement import evidence, missing, statement
from ground.statements.thermometer import ZERO_K, find_thermometer
from ground.statements.thermometer_kinds import scale_end

BEFORE_S, FOLLOWED_S, AFTER_S = 120.0, 120.0, 600.0  # by FOLLOWED_S a slow thermometer has followed
FEWEST = 5
MOST_HIDDEN_K = 4.0  # if a gap may hide more than that, the coldest air is not known
WORTH_SAYING_K = 0.3
NEAR_END_K = 5.0
ALIKE_K, DEEP_M = 0.5, 1000.0
FALL_ADDS_K = 0.7  # so much less sure is a profile that is all from the fall
UNKNOWN_LAG_K = 1.0


def coldest_air(case):
    """The lowest level of the profile, or of the fall's if that is clearly colder."""
    title, thermometer, profile = "Coldest air", case.once(find_thermometer), case.once(find_profile)
    nothing = no_thermometer(case, title, "degC")
    if nothing:
        return nothing
    if profile.known().sum() < 3:
        return _coldest_sample(case, title)
    index, kelvin = coldest_level(profile.temperature_k)
    end = scale_end(thermometer.chip)
    if thermometer.at_end and kelvin < end + ZERO_K + NEAR_END_K:
        reason = f"the air was colder than {end:.0f} °C, the coldest that the thermometer can say"
        return missing(title, "degC", reason)
    hidden_k, hole = _hidden(case, profile, kelvin)
    if hidden_k > MOST_HIDDEN_K:
        low_km, high_km = (m / 1000.0 for m in hole)
        reason = (
            f"no temperature is known from {low_km:.1f} to {high_km:.1f} km, where it may have been colder than "
            f"the {kelvin - ZERO_K:.1f} °C that were measured"
        )
        return missing(title, "degC", reason, span=span_of(case))
    lag_k = _moved_by_lag(case.once(find_other_profile), kelvin)
    way, caveats = profile, []
    fall = way_profile(case, falling=True)
    if fall.known().sum() >= 3:
        at, colder_k = coldest_level(fall.temperature_k)
        if colder_k < kelvin - 0.5 - 2.0 * np.hypot(fall.noise_k[at], way.noise_k[index]):
            way, index, kelvin = fall, at, colder_k
            lag_k = max(lag_k, _moved_by_lag(way_profile(case, falling=True, other=True), kelvin))
            caveats.append("it was colder on the way down than anywhere on the way up")
    caveats += doubts(case, kelvin)
    if ends_at_top(case):
        caveats.append("the data begin or end at the greatest height, and higher up it may have been colder")
    if hidden_k > WORTH_SAYING_K:
        caveats.append("between {:.0f} and {:.0f} m no temperature is known".format(*hole))
    time_s, height_m = float(way.time_s[index]), float(way.height_m[index])
    alike_m = way.height_m[way.known() & (way.temperature_k <= kelvin + ALIKE_K)]
    text = "The coldest air was {value}, give or take {uncertainty}, at {height}, at {when}."
    if np.ptp(alike_m) > DEEP_M:
        text += " It was almost as cold (within {half}) from {low} up to {high}."
    parts_k = (expanded_k(case, kelvin, way.noise_k[index], lag_k), hidden_k, case.once(blur_k))
    spread_k = np.sqrt(np.sum(np.square(parts_k)))
    share = coverage(thermometer.series.time_s, case.window.start_s, case.window.end_s)
    return statement(
        title, text, value=kelvin - ZERO_K, unit="degC", decimals=1,
        uncertainty=spread_k + FALL_ADDS_K * case.once(find_fall_share),
        says={
            "height": Quantity(height_m, "m"), "when": case.clock_text(time_s), "half": Quantity(ALIKE_K, "K", 1),
            "low": Quantity(float(alike_m.min()), "m"), "high": Quantity(float(alike_m.max()), "m"),
        },
        evidence=rests_on(case, "lowest running median of 3 levels of 50 m", len(thermometer.series)),
        span=span_of(case), caveats=caveats, height_m=height_m, coverage_percent=share_percent(share),
        **case.at(time_s, thermometer.series),
    )  # fmt: skip


def _moved_by_lag(other, kelvin):
    """How far the coldest level moves with the other time constant."""
    return abs(coldest_level(other.temperature_k)[1] - kelvin) if other.known().sum() >= 3 else 0.0


def _hidden(case, profile, kelvin):
    known = profile.known()
    heights = case.heights.combined.between(case.window.start_s, case.window.end_s)
    top_m = float(heights["height_m"].max()) if len(heights) else float(profile.height_m[known][-1])
    return colder_in_gaps(profile.height_m[known], profile.temperature_k[known], top_m, kelvin)


def _coldest_sample(case, title):
    """Without heights, or with very few: the coldest of the samples themselves."""
    thermometer = case.once(find_thermometer)
    series = thermometer.series.between(case.window.start_s, case.window.end_s)
    share = coverage(series.time_s, case.window.start_s, case.window.end_s)
    if len(series) < 10 or share is not None and share < 0.8:
        return missing(title, "degC", "too few air temperatures were measured in flight")
    smooth = running_median(series[thermometer.column], 5)
    best = int(np.argmin(smooth))
    time_s = float(series.time_s[best])
    return statement(
        title, "The coldest air was {value}, give or take {uncertainty}, at {when}.",
        value=float(smooth[best]), unit="degC", decimals=1,
        uncertainty=expanded_k(case, smooth[best] + ZERO_K, sample_noise(smooth), UNKNOWN_LAG_K),
        says={"when": case.clock_text(time_s)},
        caveats=["too few heights are known to correct for the thermometer's slowness", *doubts(case)],
        evidence=[evidence("value", thermometer.source, "lowest running median of 5", len(series))],
        span=case.span(float(series.time_s[0]), float(series.time_s[-1])),
        height_m=float(series["height_m"][best]), coverage_percent=share_percent(share),
        **case.at(time_s, series),
    )  # fmt: skip


def ground_temperature(case):
    """The median of the last two minutes before the launch, else of the minutes after the landing."""
    title, thermometer = "Temperature at the ground", case.once(find_thermometer)
    nothing = no_thermometer(case, title, "degC")
    if nothing:
        return nothing
    launch_s, landing_s = case.moments.launch.time_s, case.moments.landing.time_s
    spans = []
    if launch_s is not None:
        spans.append((launch_s - BEFORE_S, launch_s, "just before the launch"))
    if landing_s is not None:
        spans.append((landing_s + FOLLOWED_S, landing_s + AFTER_S, "after the landing"))
    if not spans:
        return missing(title, "degC", "neither the launch nor the landing is known")
    parts = [(thermometer.series.between(start_s, end_s), when) for start_s, end_s, when in spans]
    part, when = next((one for one in parts if len(one[0]) >= FEWEST), (None, None))
    if part is None:
        return missing(title, "degC", "no temperature of the minutes before the launch or after the landing")
    values = part[thermometer.column]
    celsius, half = float(np.median(values)), len(values) // 2
    drift_k = abs(float(np.median(values[half:]) - np.median(values[:half])))
    caveats = doubts(case, of_profile=False)
    if drift_k > 1.0:
        caveats.append(f"it changed by {drift_k:.1f} K meanwhile, as in the sun or fresh from a warm room")
    return statement(
        title, f"At the ground the air was at {{value}}, give or take {{uncertainty}}, {when}.",
        value=celsius, unit="degC", decimals=1,
        uncertainty=expanded_k(case, celsius + ZERO_K, float(np.std(values)) / 2.0, 2.0 * drift_k),
        evidence=[evidence("value", thermometer.source, "median", len(values))], caveats=caveats,
        span=case.span(float(part.time_s[0]), float(part.time_s[-1])),
    )  # fmt: skip
