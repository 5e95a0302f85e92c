"""The winds of a flight, from the payload's drift."""

from dataclasses import dataclass, replace

import numpy as np

from ground.analyse.gusts import USUAL_GUST_M_S
from ground.analyse.heights import covered, valid_fixes
from ground.analyse.wind_profile import joined
from ground.analyse.winds import FINE_M, LAYER_M, WindLayers, wind_layers

SURFACE_M = 150.0  # the lowest air: a payload passes through it in half a minute


@dataclass(frozen=True)
class Winds:
    """Winds of a flight. climb, fall: WindLayers of LAYER_M; fine_climb, fine_fall: of FINE_M, for plots;
    all, fine: climb and fall as one profile of LAYER_M and of FINE_M; from_fall (n,): which layers of all are from
    the fall.
    surface: WindLayers, of the lowest SURFACE_M after the launch, with one layer or none.
    """

    climb: WindLayers
    fall: WindLayers
    fine_climb: WindLayers
    fine_fall: WindLayers
    all: WindLayers
    fine: WindLayers
    from_fall: np.ndarray
    surface: WindLayers


def find_winds(case) -> Winds:
    """Find the winds of a Case; use it as case.once(find_winds)."""
    drifted = case.once(drift)
    window = case.window
    parts = {}
    for name, start_s, end_s, falling in (
        ("climb", window.start_s, window.top_s, False), ("fall", window.top_s, window.end_s, True),
    ):  # fmt: skip
        part = [column[(drifted[0] >= start_s) & (drifted[0] <= end_s)] for column in drifted]
        for thickness_m, key in ((LAYER_M, name), (FINE_M, f"fine_{name}")):
            gust = parts["climb"].gust_m_s if "climb" in parts else None
            parts[key] = wind_layers(*part, thickness_m=thickness_m, falling=falling, gust_m_s=gust)
    profile, from_fall = joined(parts["climb"], parts["fall"])
    fine, _ = joined(parts["fine_climb"], parts["fine_fall"])
    surface = _surface(case, drifted, parts["climb"].gust_m_s)
    return Winds(**parts, all=profile, fine=fine, from_fall=from_fall, surface=surface)


def drift(case):
    """Give time, latitude, longitude, height and velocity (n, 2) of the fixes whose height is known."""
    fixes, heights = case.fixes, case.heights.combined
    fixes = fixes.where(covered(heights.time_s, fixes.time_s, 30.0))
    height_m = np.interp(fixes.time_s, heights.time_s, heights["height_m"]) if len(fixes) else np.zeros(0)
    velocity = np.full((len(fixes), 2), np.nan)
    told = valid_fixes(case.timeline, ("ground_speed_m_s", "course_deg"))
    if len(told) and len(fixes):
        nearest = np.minimum(np.searchsorted(told.time_s, fixes.time_s), len(told) - 1)
        same = told.time_s[nearest] == fixes.time_s
        course = np.radians(told["course_deg"][nearest])
        toward = np.stack([np.sin(course), np.cos(course)], 1) * told["ground_speed_m_s"][nearest][:, None]
        velocity[same] = toward[same]
    return fixes.time_s, fixes["latitude_deg"], fixes["longitude_deg"], height_m, velocity


def _surface(case, drifted, gust_m_s):
    """The wind of the lowest air; without a launch there is none."""
    launch = case.moments.launch
    inside, ground_m = np.zeros(len(drifted[0]), bool), 0.0
    if launch.time_s is not None and launch.height_m is not None:
        ground_m = launch.height_m
        inside = (drifted[0] >= launch.time_s) & (drifted[0] <= launch.time_s + 120.0)
        inside &= (drifted[3] >= ground_m + 5.0) & (drifted[3] < ground_m + SURFACE_M)
    time_s, latitude, longitude, height_m, velocity = (column[inside] for column in drifted)
    gust_m_s = max(gust_m_s, USUAL_GUST_M_S)
    found = wind_layers(time_s, latitude, longitude, height_m - ground_m, velocity, SURFACE_M, gust_m_s=gust_m_s)
    return replace(
        found, bottom_m=found.bottom_m + ground_m, top_m=found.top_m + ground_m, middle_m=found.middle_m + ground_m
    )
