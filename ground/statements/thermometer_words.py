"""Statements about the thermometer itself: how slow it was, and how far its readings can be trusted."""

import numpy as np

from ground.analyse.air_extremes import EVEN_M
from ground.analyse.extremes import coverage
from ground.analyse.heights import covered
from ground.analyse.profile import even_levels
from ground.statements.air_profile import find_profile, way_profile
from ground.statements.air_words import IN_PLACE_OF_OUTSIDE, no_thermometer
from ground.statements.quantity import Quantity
from ground.statements.shared import share_percent
from ground.statements.statement import evidence, missing, statement
from ground.statements.thermometer import (
    CHIP, NO_DATA, OUTSIDE, SHARE_OF_TIME_CONSTANT, find_both, find_thermometer,
)  # fmt: skip
from ground.statements.thermometer_kinds import rated, scale_end

WORTH_SAYING_K = 0.05
FAR_APART_K = 1.5  # two thermometers, or climb and fall, that differ by more cannot both be right
HIGH_M, FEWEST_LEVELS = 10_000.0, 10
FEWEST_SAMPLES, TOGETHER_S = 60, 5.0


def thermometer_lag(case):
    """Its time constant: as climb and fall show it, else as the mission says."""
    title, thermometer = "How slow the thermometer was", case.once(find_thermometer)
    profile = case.once(find_profile)
    nothing = no_thermometer(case, title, "s")
    if nothing:
        return nothing
    estimate, flown = thermometer.estimate, thermometer.all.time_s
    span = case.span(float(flown[0]), float(flown[-1])) if len(flown) else None
    moved_k = np.abs(profile.temperature_k - profile.uncorrected_k)
    largest_k = float(np.nanmax(moved_k)) if np.isfinite(moved_k).any() else 0.0
    corrected = " Its readings were corrected for that, by up to {largest}."
    if largest_k < WORTH_SAYING_K:
        corrected = ""
    if not thermometer.constant_s:
        corrected = " Its readings were not corrected for that, as no mission says how slow it is; "
        corrected += "the uncertainties allow for it."
    common = {"unit": "s", "decimals": 1, "says": {"largest": Quantity(largest_k, "K", 1)}, "span": span}
    if estimate.seconds is None:
        if not thermometer.from_mission:
            return missing(title, "s", estimate.reason, span=span)
        text = "The mission says that the thermometer takes {value} to follow about two thirds of a change."
        return statement(
            title, text + corrected, value=thermometer.constant_s,
            uncertainty=2.0 * SHARE_OF_TIME_CONSTANT * thermometer.constant_s, caveats=[estimate.reason],
            evidence=[evidence("value", "mission, outside_temperature.time_constant_s")], **common,
        )  # fmt: skip
    caveats = ["climb and fall may have met different air, and the sun warms a slow climb more"]
    apart_s = abs(estimate.seconds - thermometer.constant_s)
    if thermometer.from_mission and apart_s > 2.0 * estimate.uncertainty_s:
        caveats.append(f"the mission says {thermometer.constant_s:g} s, which does not fit")
    text = (
        "Near the ground the thermometer takes {value}, give or take {uncertainty}, to follow about two thirds of "
        "a change, as then climb and fall agree best."
    )
    method = "time constant with which climb and fall agree, robust least squares"
    return statement(
        title, text + corrected, value=estimate.seconds, uncertainty=estimate.uncertainty_s, caveats=caveats,
        evidence=[evidence("value", thermometer.source, method, estimate.layers)], **common,
    )  # fmt: skip


def thermometer_trust(case):
    """The share of its readings that are sound and within what its maker rates it for."""
    title, thermometer = "Trust in the thermometer", case.once(find_thermometer)
    if thermometer.all is None or len(thermometer.all) == 0:
        return missing(title, "percent", thermometer.reason or NO_DATA)
    limits, total = rated(thermometer.chip), len(thermometer.all)
    used = thermometer.series.between(case.window.start_s, case.window.end_s)
    outside = _outside(thermometer.all[thermometer.column], limits)
    sound = len(used) - _outside(used[thermometer.column], limits)
    rows = [
        ["samples in flight", total], ["used", len(used)],
        ["outside what the maker rates it for", outside if limits else None],
        ["it stood still", thermometer.still], ["beside itself after a jump", thermometer.shifted],
        ["at the end of its scale", thermometer.at_end],
    ]  # fmt: skip
    method = "readings that change, do not jump, and lie within the rated range"
    return statement(
        title,
        "{value} of the thermometer's readings in flight are sound and within what its maker rates it for. "
        "In sunlight a thermometer reads too warm, high up by several degrees.",
        value=100.0 * sound / total, unit="percent",
        evidence=[evidence("value", thermometer.source, method, total)],
        span=case.span(float(thermometer.all.time_s[0]), float(thermometer.all.time_s[-1])),
        coverage_percent=share_percent(coverage(used.time_s, case.window.start_s, case.window.end_s)),
        caveats=_left_out(thermometer, outside, limits) + _contradictions(case),
        table={"columns": [["readings", ""], ["number", "1"]], "rows": rows},
    )  # fmt: skip


def _outside(celsius, limits):
    return int(((celsius < limits[0]) | (celsius > limits[1])).sum()) if limits else 0


def _left_out(thermometer, outside, limits):
    caveats = [IN_PLACE_OF_OUTSIDE] if thermometer.column == CHIP and thermometer.has_data() else []
    if thermometer.reason:
        caveats.append(thermometer.reason)
    if outside:
        share = 100 * outside / len(thermometer.all)
        caveats.append(
            f"{share:.0f} % of the samples lie outside {limits[0]:.0f} to {limits[1]:.0f} °C, "
            f"for which the maker rates a {thermometer.name}"
        )
    if thermometer.still:
        caveats.append("it said the same all the time for a while; that was left out")
    if thermometer.shifted:
        caveats.append("its readings jumped to another scale for a while; that was left out")
    if thermometer.at_end:
        caveats.append(f"below {scale_end(thermometer.chip):.0f} °C it can say nothing; that was left out")
    return caveats


def _contradictions(case):
    caveats = []
    sunlit_k, apart_k = _climb_less_fall(case), _two_thermometers(case)
    if sunlit_k is not None and abs(sunlit_k) > FAR_APART_K:
        word = "warmer" if sunlit_k > 0 else "colder"
        caveats.append(
            f"high up it read {abs(sunlit_k):.1f} K {word} in the climb than in the fall, which sun and lag can do"
        )
    if apart_k is not None and abs(apart_k) > FAR_APART_K:
        caveats.append(
            f"the outside thermometer and the humidity chip's differ by {abs(apart_k):.1f} K: one of them is wrong"
        )
    return caveats


def _climb_less_fall(case):
    """Median difference between climb and fall above 10 km, K, after the correction; None without enough of
    both.
    """
    thermometer = case.once(find_thermometer)
    if not thermometer.constant_s or not thermometer.has_data():
        return None
    ways = [way_profile(case, falling) for falling in (False, True)]
    (up_m, up_k), (down_m, down_k) = (even_levels(way.height_m, way.temperature_k, 2 * EVEN_M) for way in ways)
    shared_m, up, down = np.intersect1d(up_m, down_m, return_indices=True)
    high = shared_m > HIGH_M
    return float(np.median((up_k[up] - down_k[down])[high])) if high.sum() >= FEWEST_LEVELS else None


def _two_thermometers(case):
    """Median of the outside thermometer less the humidity chip's in the climb, where both are sound; or None."""
    outside, chip = case.once(find_both)
    if not (outside.has_data() and chip.has_data()):
        return None
    part = outside.series.between(case.window.start_s, case.window.top_s)
    part = part.where(covered(chip.series.time_s, part.time_s, TOGETHER_S))
    if len(part) < FEWEST_SAMPLES:
        return None
    return float(np.median(part[OUTSIDE] - np.interp(part.time_s, chip.series.time_s, chip.series[CHIP])))
