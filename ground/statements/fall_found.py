"""The fall of a flight, found once for the statements and plots about it."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.canopy import Ballistic, find_ballistic, looks_carried, slow_part
from ground.analyse.climb_end import SLOW
from ground.analyse.drag import settled_speed_m_s
from ground.analyse.fall_curve import WINDOW, FallCurve, agrees, fall_curve
from ground.analyse.fall_speeds import band_speeds
from ground.analyse.heights import covered, valid_fixes
from ground.analyse.phases import LEAST_CLIMB_M
from ground.analyse.series import running_median
from ground.physics.atmosphere import (
    air_density_kg_m3,
    geopotential_height_m,
    gravity_m_s2,
    standard_pressure_pa,
    standard_temperature_k,
)
from ground.statements.shared import believable_air, fall_start_s, rate_heights

NEAR_S = 10.0  # a pressure or temperature counts for this long
# Standard deviations of the air density, as a share: with pressure and temperature measured, with one of them, and
# in the standard atmosphere; temperature and pressure aloft differ from that by some per cent (own estimates).
MEASURED, PRESSURE_ONLY, STANDARD = 0.01, 0.03, 0.05
CARRIED = "it sank slowly, as under a balloon that leaks, and not under the parachute"


@dataclass(frozen=True)
class Fall:
    """top_s, start_s, end_s: on the axis: when the way down began (a float is over), when the fall under the
    parachute began, when it ended. curve: FallCurve from top_s on; height_m, speed_m_s (downwards), expected_m_s
    (settled fall of one drag area), float arrays (n,): from start_s on. bands: rows of band_speeds. ballistic:
    Ballistic. ground_m: height of the ground, or None; ground_density: there, kg/m3. slow_from_s: where a slow
    sinking began that ends at start_s, None without one. carried: no parachute has shown. reason: why there is no
    fall.
    """

    top_s: float | None = None
    start_s: float | None = None
    end_s: float | None = None
    curve: FallCurve | None = None
    ballistic: Ballistic | None = None
    height_m: np.ndarray | None = None
    speed_m_s: np.ndarray | None = None
    expected_m_s: np.ndarray | None = None
    bands: tuple = ()
    ground_m: float | None = None
    ground_density: float | None = None
    density_share: float = STANDARD
    speed_source: str = ""
    by_pressure: bool = False
    rate_share: tuple = ((), ())  # (time_s, standard deviation of a speed from heights of pressure, as a share)
    slow_from_s: float | None = None
    carried: bool = False
    reason: str | None = None


def find_fall(case):
    """Give the Fall of a Case, for case.once: statements and plots share it."""
    heights, window = case.heights, case.window
    if heights.span_m() < LEAST_CLIMB_M or not np.isfinite(window.top_s):
        return Fall(reason="the data hold no fall")
    burst, ended = case.moments.burst, case.moments.climb_end
    top_s = fall_start_s(case)
    rates = rate_heights(case, top_s, window.end_s)
    series = rates.series
    density, share = _density(case, series)
    reported = _reported(case)
    curve = fall_curve(series.time_s, series["height_m"], series["from_fix"], density, reported)
    if len(curve) < WINDOW or series["height_m"][0] - series["height_m"].min() < LEAST_CLIMB_M / 3:
        return Fall(reason="the data hold no fall")
    start_s, slow_from_s, carried = top_s, None, False
    if (burst.time_s is None and (ended is None or ended.fall_s is None)) and not burst.in_gap:
        jump_s = slow_part(curve)
        if jump_s is not None:
            start_s, slow_from_s = jump_s, top_s
        else:
            carried = (ended is not None and ended.kind == SLOW) or looks_carried(curve, _planned(case))
    ground_m = _ground_m(case)
    fall = find_ballistic(curve, start_s, ground_m, share)
    if carried:
        fall = Ballistic(reason=CARRIED)
    part = curve.where(curve.time_s >= start_s)
    expected = np.full(len(part), np.nan)
    if fall.value is not None:
        expected = settled_speed_m_s(fall.value, part.density_kg_m3, gravity_m_s2(part.height_m))
    ground_density = None
    if ground_m is not None:
        down = np.argsort(-curve.height_m, kind="stable")
        ground_density = float(np.interp(-ground_m, -curve.height_m[down], curve.density_kg_m3[down]))
    own = reported is not None and agrees(reported, curve.time_s, curve.speed_m_s)
    return Fall(
        float(top_s), float(start_s), float(window.end_s), curve, fall, part.height_m, part.speed_m_s, expected,
        tuple(band_speeds(part, fall.value, np.interp(part.time_s, series.time_s, rates.share))),
        ground_m, ground_density, share, "fix.vertical_speed_m_s" if own else series.source,
        float(np.mean(series["from_fix"])) < 0.5, (series.time_s, rates.share),
        slow_from_s, carried,
    )  # fmt: skip


def _planned(case):
    """The mission's mass over drag area, kg/m2, or None."""
    return None if case.mission is None else case.mission.payload.mass_kg / case.mission.parachute.drag_area_m2


def _reported(case):
    """(time_s, speed downwards) of the receiver's own vertical speed, running median of 3, or None."""
    own = valid_fixes(case.timeline, ("vertical_speed_m_s",)).between(fall_start_s(case), case.window.end_s)
    if len(own) < WINDOW:
        return None
    return own.time_s, -running_median(own["vertical_speed_m_s"], 3)


def _ground_m(case):
    if case.moments.landing.height_m is not None:
        return float(case.moments.landing.height_m)
    return None if case.mission is None else float(case.mission.launch.landing_height_m)


def _density(case, series):
    """(function (time_s, height_m) -> air density for arrays, its standard deviation as a share)."""
    pressure = case.heights.pressure
    air = believable_air(case, series)
    share = STANDARD
    if len(series):
        seen = covered(pressure.time_s, series.time_s, NEAR_S).mean() > 0.5
        warm = covered(air.time_s, series.time_s, NEAR_S).mean() > 0.5
        share = MEASURED if seen and warm else PRESSURE_ONLY if seen or warm else STANDARD

    def density(time_s, height_m):
        geopotential_m = geopotential_height_m(height_m)
        pascal, kelvin = standard_pressure_pa(geopotential_m), standard_temperature_k(geopotential_m)
        near = covered(pressure.time_s, time_s, NEAR_S)
        if near.any():
            logs = np.interp(time_s, pressure.time_s, np.log(pressure["pressure_hPa"] * 100.0))
            pascal = np.where(near, np.exp(logs), pascal)
        near = covered(air.time_s, time_s, NEAR_S)
        if near.any():
            kelvin = np.where(near, np.interp(time_s, air.time_s, air["temperature_degC"]) + 273.15, kelvin)
        return air_density_kg_m3(pascal, kelvin)

    return density, share


def caveats_of(found):
    """What every statement about a Fall must say."""
    lines = []
    if found.by_pressure:
        lines.append("heights are mostly from air pressure, as fixes are missing")
    if found.slow_from_s is not None:
        lines.append("before, it sank slowly, as under a balloon that leaks; that is no fall under the parachute")
    return lines
