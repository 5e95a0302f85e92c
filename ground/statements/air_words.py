"""What the statements about the air's temperature do alike: what they rest on, their doubts, their uncertainty."""

import numpy as np

from ground.analyse.air_extremes import EVEN_M, STEEP_K_M
from ground.analyse.lag import sample_noise
from ground.analyse.profile import even_levels
from ground.statements.air_profile import REACH, find_fall_share, find_profile, find_sparse_m
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, missing
from ground.statements.thermometer import CHIP, NO_DATA, ZERO_K, find_thermometer
from ground.statements.thermometer_kinds import rated, tolerance_k

NOISY_K = 0.5
SUNLIGHT = (
    "a thermometer in sunlight reads too warm, high up by several K, and so does one close to the warm box "
    "(common practice, no source)"
)
IN_PLACE_OF_OUTSIDE = "it is the humidity chip's thermometer, as the outside one has no data, or far less"


def no_thermometer(case, title, unit):
    """The statement that no thermometer has data, or None."""
    thermometer = case.once(find_thermometer)
    return None if thermometer.has_data() else missing(title, unit, thermometer.reason or NO_DATA)


def no_profile_of(case, title, unit):
    """The statement that too little is known of the profile, or None."""
    profile = case.once(find_profile)
    known = profile.height_m[profile.known()]
    if len(known) < 5:
        return missing(title, unit, profile.reason or "there are too few temperatures with a height")
    apart_m = float(np.median(np.diff(known)))
    if apart_m > 3.0 * EVEN_M:
        return missing(title, unit, f"the temperatures lie too far apart, {apart_m:.0f} m of height")
    return None


def rests_on(case, method, samples=None):
    """The evidence of a value from the profile, and of its heights. samples: if not all of the profile's."""
    thermometer = case.once(find_thermometer)
    if thermometer.constant_s:
        method += f"; corrected for a time constant of {thermometer.constant_s:g} s at sea level (first-order lag)"
    samples = int(case.once(find_profile).samples.sum()) if samples is None else samples
    return [
        evidence("value", thermometer.source, method, samples),
        evidence("height", case.heights.combined.source),
    ]


def doubts(case, lowest_k=None, of_profile=True):
    """Caveats that every temperature of this flight has. lowest_k: the coldest air that the statement rests on;
    of_profile: whether it rests on the profile.
    """
    thermometer, found = case.once(find_thermometer), []
    if thermometer.column == CHIP:
        found.append(IN_PLACE_OF_OUTSIDE)
    from_fall = 100.0 * case.once(find_fall_share)
    if of_profile and from_fall > 5.0:
        found.append(f"{from_fall:.0f} % of the heights are known from the fall only, when a thermometer lags most")
    limits = rated(thermometer.chip)
    if limits and lowest_k is not None and lowest_k - ZERO_K < limits[0]:
        found.append(f"the maker rates a {thermometer.name} down to {limits[0]:.0f} °C only")
    if of_profile and case.once(blur_k):
        found.append("temperatures were measured rarely, which blurs the profile")
    noise_k = sample_noise(thermometer.series[thermometer.column])
    if noise_k > NOISY_K:
        found.append(f"its readings scatter by {noise_k:.1f} K")
    return found


def blur_k(case):
    """What the smoothing of sparse samples may take from a turn of the temperature, K: half of what air does in the
    smoothing's reach; 0 where they are dense.
    """
    return STEEP_K_M * REACH * case.once(find_sparse_m) / 2.0


def span_of(case):
    """The span of time of the profile's levels."""
    profile = case.once(find_profile)
    times = profile.time_s[profile.known()]
    return case.span(float(times.min()), float(times.max())) if len(times) else None


def expanded_k(case, kelvin, noise_k, lag_k):
    """Expanded uncertainty of a temperature: the maker's tolerance taken as rectangular, noise, and lag."""
    tolerance = float(tolerance_k(case.once(find_thermometer).chip, kelvin - ZERO_K))
    return float(np.sqrt((2.0 * tolerance / np.sqrt(3.0)) ** 2 + (2.0 * noise_k) ** 2 + lag_k**2))


def listed(heights_m):
    """("{level_0}, {level_1} and {level_2}", the Quantities of these names) for a sentence."""
    says = {f"level_{i}": Quantity(float(height_m), "m") for i, height_m in enumerate(heights_m)}
    *first, last = (f"{{{name}}}" for name in says)
    return f"{', '.join(first)} and {last}" if first else last, says


def evenly(profile):
    """(heights, temperatures) of a profile in even levels, smoothed over 100 m."""
    return even_levels(profile.height_m, profile.temperature_k, EVEN_M)
