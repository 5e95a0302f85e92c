"""Statements about the air pressure at the top and on the ground, without the barometer's error."""

import numpy as np

from ground.analyse.height_ways import METRES_PER_KELVIN
from ground.physics.atmosphere import standard_temperature_k
from ground.statements.height_facts import NEAR_S, chip_of, find_heights, moving_pressures, rating_caveats
from ground.statements.shared import ends_at_top
from ground.statements.statement import evidence, missing, statement
from ground.statements.temperature import find_profile

SOURCE = "pressure.pressure_hPa"
GROUND_S = 180.0
FARTHEST_S = 900.0  # pressures further from the top say too little about it


def widened_hpa(bias):
    """Give the offset's uncertainty; heights that the fit cannot join make it larger."""
    return bias.offset_uncertainty_hpa * max(1.0, bias.scatter_m / 15.0)


def _error_hpa(case, pressure_hpa):
    """(what to take from a reading, expanded uncertainty): by the fit if it knows more than the data sheet."""
    limit_hpa = chip_of(case)[2]
    bias = case.once(find_heights).bias
    if bias.reason or widened_hpa(bias) > limit_hpa:
        return 0.0, limit_hpa
    # High up the fit sees the sum of all errors; near the ground an error that grows there stays hidden.
    hidden_hpa = limit_hpa * min(1.0, pressure_hpa / 1000.0)
    if abs(bias.offset_hpa) > widened_hpa(bias):
        return bias.offset_hpa, float(np.hypot(widened_hpa(bias), hidden_hpa))
    return 0.0, float(np.hypot(max(widened_hpa(bias), abs(bias.offset_hpa)), hidden_hpa))


def pressure_at_top(case):
    """Make the statement pressure_at_top."""
    title, pressure, heights = "Pressure at the top", moving_pressures(case), case.heights.combined
    heights = heights.between(case.window.start_s, case.window.end_s)
    if len(pressure) == 0 or len(heights) == 0:
        return missing(title, "hPa", "there are no air pressures of the flight")
    top = int(np.argmax(heights["height_m"]))
    top_s, top_m = float(heights.time_s[top]), float(heights["height_m"][top])
    nearest = int(np.argmin(np.abs(pressure.time_s - top_s)))
    away_s = abs(float(pressure.time_s[nearest]) - top_s)
    if away_s > FARTHEST_S:
        return missing(title, "hPa", f"there are no air pressures within {away_s / 60:.0f} min of the top")
    part = pressure.between(float(pressure.time_s[nearest]) - 3.0, float(pressure.time_s[nearest]) + 3.0)
    low_hpa = float(np.median(part["pressure_hPa"]))
    low_m = float(np.interp(np.median(part.time_s), heights.time_s, heights["height_m"]))
    kelvin = float(standard_temperature_k(min(top_m, 79_000.0)))
    profile = case.once(find_profile)
    if len(profile) and profile.known().any():
        kelvin = float(profile.temperature_k[profile.known()][-1])
    # From the height of the readings to the top, by the hypsometric equation.
    value = low_hpa * float(np.exp(-(top_m - low_m) / (METRES_PER_KELVIN * kelvin)))
    taken_hpa, spread_hpa = _error_hpa(case, value)
    share = 0.002 + 0.1 * abs(value / low_hpa - 1.0)  # some ten metres of height, and the air's unknown warmth
    value = max(value - taken_hpa, 0.1)
    return statement(
        title, "At the top the air pressure was {value}, give or take {uncertainty}.", value=value, unit="hPa",
        decimals=1, uncertainty=float(np.hypot(spread_hpa, 2.0 * share * value)), height_m=top_m,
        caveats=_top_caveats(case, low_hpa, away_s, taken_hpa),
        evidence=[evidence("value", SOURCE, "median of the readings nearest to the top", len(part))],
        span=case.span(*sorted((top_s - 3.0, float(pressure.time_s[nearest])))), **case.at(top_s, pressure),
    )  # fmt: skip


def _top_caveats(case, lowest_hpa, away_s, taken_hpa):
    caveats = rating_caveats(case, lowest_hpa)
    if away_s > NEAR_S:
        caveats.append(
            f"the nearest reading is {away_s:.0f} s from the top and was carried on by the hypsometric equation"
        )
    if ends_at_top(case):
        caveats.append("the data begin or end there, so it may have been higher")
    return caveats + _taken_off(taken_hpa)


def _taken_off(taken_hpa):
    if not taken_hpa:
        return []
    return [f"the barometer's error of {taken_hpa:.2f} hPa, as the heights show it, was taken off"]


def ground_pressure(case):
    """Make the statement ground_pressure."""
    title, launch = "Pressure on the ground", case.moments.launch
    if launch.time_s is None:
        return missing(title, "hPa", launch.reason)
    ground = case.heights.pressure.between(launch.time_s - GROUND_S, launch.time_s - 2.0)
    if len(ground) < 3:
        return missing(title, "hPa", "there are no air pressures from just before the launch")
    value = float(np.median(ground["pressure_hPa"]))
    taken_hpa, spread_hpa = _error_hpa(case, value)
    text = "At the launch site the air pressure was {value}, give or take {uncertainty}."
    return statement(
        title, text, value=value - taken_hpa, unit="hPa", decimals=1, uncertainty=spread_hpa,
        height_m=launch.height_m, caveats=_taken_off(taken_hpa),
        evidence=[evidence("value", SOURCE, "median of the three minutes before the launch", len(ground))],
        span=case.span(float(ground.time_s[0]), float(ground.time_s[-1])), **case.at(launch.time_s, ground),
    )  # fmt: skip
