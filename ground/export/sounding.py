"""The air that the flight climbed through, as soundings are written: a line a level, upwards.

The columns are named as in Loftbook's own soundings, so that the simulator can fly through it again.
"""

import csv
import io

import numpy as np

from ground.analyse.heights import interpolated
from ground.analyse.series import running_median
from ground.export.track import VALUE_GAP_S
from ground.physics.atmosphere import geopotential_height_m
from ground.physics.moisture import dew_point_k
from ground.statements.temperature import find_profile
from ground.statements.wind import find_winds

STEP_M = 100.0
LEAST_LEVELS = 3
WIND_GAP_M = 1500.0
SMOOTH_SAMPLES = 5
_ZERO_DEGC_K = 273.15
# name -> decimals, in the file's order
_COLUMNS = {
    "time_s": 1, "pressure_hPa": 3, "geopotential_height_m": 1, "height_m": 1, "temperature_degC": 2,
    "dew_point_degC": 2, "relative_humidity_percent": 1, "wind_from_deg": 1, "wind_speed_m_s": 2,
    "latitude_deg": 5, "longitude_deg": 5, "ascent_rate_m_s": 2,
}  # fmt: skip


def sounding_levels(record):
    """Give the levels of a RecordedFlight's climb, every 100 m of height above mean sea level.

    Returns a dict of float arrays (n,), upwards, NaN where not known, with the names of the file's columns
    (time_s since launch) and wind_east_m_s, wind_north_m_s (towards); start_utc, start_lat, start_lon of the
    launch, None where not known. None without a climb.
    """
    return record.case.once(_levels)


def _levels(case):
    if case.timeline is None or case.phases.climb_s is None:
        return None
    climb = case.heights.combined.between(case.window.start_s, case.window.top_s)
    if len(climb) < 10:
        return None
    # The time at which each height was passed: of a climb that wavers the first.
    passed_m = np.maximum.accumulate(climb["height_m"])
    rises = np.concatenate([[True], np.diff(passed_m) > 0])
    height_m = np.arange(np.ceil(passed_m[0] / STEP_M), np.floor(passed_m[-1] / STEP_M) + 1) * STEP_M
    time_s = np.interp(height_m, passed_m[rises], climb.time_s[rises])
    seen = np.isfinite(interpolated(climb.time_s, climb["height_m"], time_s, 60.0))
    height_m, time_s = height_m[seen], time_s[seen]
    if len(height_m) < LEAST_LEVELS:
        return None
    pressure_hpa = _smooth_at(case, "pressure", "pressure_hPa", time_s)
    humidity = _smooth_at(case, "air", "relative_humidity_percent", time_s)
    temperature_k = _on_levels(case, height_m)
    east, north = _winds(case, height_m)
    calm = np.hypot(east, north) == 0
    launch, fixes = case.moments.launch, case.fixes
    return {
        "time_s": case.since_launch_s(time_s), "pressure_hPa": pressure_hpa,
        "geopotential_height_m": geopotential_height_m(height_m), "height_m": height_m,
        "temperature_degC": temperature_k - _ZERO_DEGC_K,
        "dew_point_degC": dew_point_k(temperature_k, humidity) - _ZERO_DEGC_K,
        "relative_humidity_percent": humidity,
        "wind_from_deg": np.where(calm, 0.0, np.degrees(np.arctan2(-east, -north)) % 360.0),
        "wind_speed_m_s": np.hypot(east, north), "wind_east_m_s": east, "wind_north_m_s": north,
        "latitude_deg": interpolated(fixes.time_s, fixes["latitude_deg"], time_s, VALUE_GAP_S),
        "longitude_deg": (interpolated(fixes.time_s, fixes["longitude_deg"], time_s, VALUE_GAP_S) + 180.0) % 360.0 - 180.0,
        "ascent_rate_m_s": _rate_m_s(height_m, time_s), "start_utc": launch.utc, "start_lat": launch.latitude_deg,
        "start_lon": launch.longitude_deg,
    }  # fmt: skip


def _rate_m_s(height_m, time_s):
    """The rate between the levels beside each; NaN where two of them are passed in one moment, by a broken clock."""
    with np.errstate(divide="ignore", invalid="ignore"):
        rate_m_s = np.gradient(height_m, time_s)
    return np.where(np.isfinite(rate_m_s), rate_m_s, np.nan)


def _smooth_at(case, kind, column, time_s):
    series = case.timeline.series(kind, (column,))
    return interpolated(series.time_s, running_median(series[column], SMOOTH_SAMPLES), time_s, VALUE_GAP_S)


def _on_levels(case, height_m):
    """The profile's temperature at heights; NaN where its levels lie further apart than two steps."""
    profile = case.once(find_profile)
    known = profile.known()
    return interpolated(profile.height_m[known], profile.temperature_k[known], height_m, 2 * STEP_M)


def _winds(case, height_m):
    layers = case.once(find_winds).fine_climb
    known = np.isfinite(layers.east_m_s) & np.isfinite(layers.north_m_s)
    middle_m = layers.middle_m[known]
    return tuple(interpolated(middle_m, part[known], height_m, WIND_GAP_M) for part in (layers.east_m_s, layers.north_m_s))


def sounding_text(levels):
    """Write levels as CSV, RFC 4180; empty cells for what is not known."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for row in zip(*(levels[name].tolist() for name in _COLUMNS), strict=True):
        writer.writerow(
            f"{value:.{decimals}f}" if value == value else ""
            for value, decimals in zip(row, _COLUMNS.values(), strict=True)
        )
    return file.getvalue()
