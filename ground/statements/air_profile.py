"""The profile of the air's temperature on a flight, and its tropopauses, which statements and plots share."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.heights import covered
from ground.analyse.lag import correct_lag, lag_factor
from ground.analyse.profile import build_profile, filled, no_profile
from ground.analyse.tropopause_in_noise import ONE_LEVEL_M, in_noise
from ground.physics.atmosphere import geometric_height_m
from ground.statements.thermometer import GAP_S, NO_DATA, ZERO_K, find_thermometer, pressures_at

FIX_ERROR_M, PRESSURE_ERROR_M = 20.0, 30.0  # of heights, expanded
# So much of what pressure adds to the highest fix may be wrong: with the air's own temperature, and with the
# standard atmosphere's (air is colder or warmer; common practice, no source).
HYPSOMETRIC_SHARE, STANDARD_SHARE = 0.005, 0.05
DENSE = 3  # samples in a level of 50 m
SPARSE_M = 150.0  # levels further apart blur a tropopause beyond recognition
# The lines of ground.analyse.lag reach over six samples, so that what is between blurs over three on each side.
REACH = 3.0
FALL_BLURS_M = 120.0  # so much less sure is a tropopause of a profile that is all from the fall


def find_profile(case):
    """The Profile (ground.analyse.profile) of the air on the way up, where that lacks levels on the way down."""
    return _joined(case, case.once(find_thermometer).constant_s)[0]


def find_other_profile(case):
    """The same with the other time constant that may be true: the difference is what the lag leaves uncertain."""
    return _joined(case, case.once(find_thermometer).other_s)[0]


def find_fall_share(case):
    """Share of the profile's levels that are from the fall, which smooths over hundreds of metres high up."""
    return _joined(case, case.once(find_thermometer).constant_s)[1]


def find_sparse_m(case):
    """How far apart the profile's levels lie, m, if samples are so rare that each counts; 0 if they are dense."""
    profile = case.once(find_profile)
    known = profile.known()
    if known.sum() < 2 or np.median(profile.samples[known]) >= DENSE:
        return 0.0
    return float(np.median(np.diff(profile.height_m[known])))


def way_profile(case, falling, other=False):
    """The Profile of the climb alone, or of the fall; other: with the other time constant that may be true."""
    thermometer = case.once(find_thermometer)
    constant_s = thermometer.other_s if other else thermometer.constant_s
    return _made(case, _make_way, constant_s, falling)


def _joined(case, constant_s):
    """(Profile of the climb, with the fall's levels in its gaps; share of levels that are the fall's)."""
    return _made(case, _join_ways, constant_s)


def _made_profiles(_):
    return {}


def _made(case, make, *how):
    """make(case, *how), made once."""
    made = case.once(_made_profiles)
    if (make, *how) not in made:
        made[make, *how] = make(case, *how)
    return made[make, *how]


def _join_ways(case, constant_s):
    thermometer = case.once(find_thermometer)
    if not thermometer.has_data():
        return no_profile(thermometer.reason or NO_DATA), 0.0
    return filled(*(_made(case, _make_way, constant_s, falling) for falling in (False, True)))


def _make_way(case, constant_s, falling):
    """The profile of the climb or the fall, K, corrected for this time constant."""
    thermometer, window = case.once(find_thermometer), case.window
    start_s, end_s = (window.top_s, window.end_s) if falling else (window.start_s, window.top_s)
    part = thermometer.series.between(start_s, end_s)
    if len(part) < 3:
        return no_profile(f"no air temperatures during the {'fall' if falling else 'climb'}")
    tau_s = constant_s * lag_factor(part["density_kg_m3"])
    air, smooth, noise = correct_lag(part.time_s, part[thermometer.column], tau_s)
    hpa = pressures_at(case, part.time_s)
    return build_profile(part.time_s, part["height_m"], air + ZERO_K, smooth + ZERO_K, noise, hpa)


@dataclass(frozen=True)
class FlightTropopause:
    """height_m: geometric, above mean sea level; uncertainty_m: expanded (k = 2); share: of the repetitions with
    noise and other smoothing that found it within 500 m.
    """

    height_m: float
    uncertainty_m: float
    geopotential_height_m: float
    temperature_k: float
    pressure_hpa: float
    share: float


@dataclass(frozen=True)
class FlightTropopauses:
    """levels: tuple of FlightTropopause, upwards. rival_m: the height that may be the first one instead, or None.
    floor: 'pressure' or 'standard atmosphere'. reason: why there is none, or None.
    """

    levels: tuple = ()
    rival_m: float | None = None
    floor: str = "pressure"
    reason: str | None = None


def find_tropopauses(case) -> FlightTropopauses:
    """The tropopauses of a flight's profile."""
    profile, other = case.once(find_profile), case.once(find_other_profile)
    if len(profile) == 0:
        return FlightTropopauses(reason=profile.reason)
    sparse_m = case.once(find_sparse_m)
    if sparse_m > SPARSE_M:
        reason = f"the temperatures lie too far apart, {sparse_m:.0f} m of height, to show a tropopause"
        return FlightTropopauses(reason=reason)
    found, beside = (
        in_noise(one.geopotential_height_m, one.temperature_k, one.noise_k, one.pressure_hpa)
        for one in (profile, other)
    )
    if found.level is None:
        return FlightTropopauses(floor=found.floor, reason=found.reason)
    rival_m, moved_m = found.rival_m, ONE_LEVEL_M
    if beside.level:
        moved_m = abs(beside.level.geopotential_height_m - found.level.geopotential_height_m)
    if beside.level and moved_m > ONE_LEVEL_M:
        rival_m, moved_m = beside.level.geopotential_height_m, 0.0
    rival_m = None if rival_m is None else float(geometric_height_m(rival_m))
    levels = []
    for level, share in [(found.level, found.share), *found.further]:
        parts_m = (2.0 * found.standard_m, moved_m, height_error_m(case, profile, level.height_m), REACH * sparse_m)
        uncertainty_m = np.sqrt(np.sum(np.square(parts_m))) + FALL_BLURS_M * case.once(find_fall_share)
        geopotential_m, kelvin, hpa = level.geopotential_height_m, level.temperature_k, level.pressure_hpa
        levels.append(FlightTropopause(level.height_m, float(uncertainty_m), geopotential_m, kelvin, hpa, share))
    return FlightTropopauses(tuple(levels), rival_m, found.floor, None)


def height_error_m(case, profile, height_m):
    """Expanded uncertainty of the heights themselves, m, at a height of the profile."""
    heights, known = case.heights, profile.known()
    time_s = float(np.interp(height_m, profile.height_m[known], profile.time_s[known]))
    if covered(heights.gnss.time_s, time_s, GAP_S):
        return FIX_ERROR_M
    tied_m = float(heights.gnss["height_m"].max()) if len(heights.gnss) else 0.0
    share = HYPSOMETRIC_SHARE if "hypsometric" in heights.barometric.source else STANDARD_SHARE
    return PRESSURE_ERROR_M + share * abs(height_m - min(tied_m, height_m))
