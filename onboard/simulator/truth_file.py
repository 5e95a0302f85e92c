"""The truth of a simulated flight as files: a table at one line a second, the air that it flew through, and the
figures that matter.
"""

import csv
import json

import numpy as np

from onboard.simulator.prepare import DRIFT_PPM
from onboard.simulator.truth_details import board_series, details

_COLUMNS = (
    ("seconds_since_power_on", "time_s", 1),
    ("latitude_deg", "latitude_deg", 7),
    ("longitude_deg", "longitude_deg", 7),
    ("height_m", "height_m", 2),
    ("velocity_up_m_s", "velocity_up_m_s", 3),
    ("velocity_east_m_s", "velocity_east_m_s", 3),
    ("velocity_north_m_s", "velocity_north_m_s", 3),
    ("pressure_pa", "pressure_pa", 2),
    ("temperature_k", "temperature_k", 3),
    ("relative_humidity_percent", "relative_humidity_percent", 2),
)
_AIR_STEP_M = 20.0


def truth_figures(truth):
    """The figures of a Truth that a summary states too: a dict of plain numbers in SI units.

    Times are in seconds after power-on; speeds are means over two seconds, since no receiver shows less.
    """
    ground_speed = _mean_over(np.hypot(truth.velocity_east_m_s, truth.velocity_north_m_s), 20)
    fall_speed = -_mean_over(truth.velocity_up_m_s, 20)
    flying = (truth.time_s >= truth.release.time_s) & (truth.time_s <= truth.landing.time_s)
    coldest = int(np.argmin(np.where(flying, truth.temperature_k, np.inf)))
    figures = {
        "greatest_height_m": float(truth.height_m.max()),
        "climb_rate_m_s": (truth.climb_end.height_m - truth.release.height_m)
        / (truth.climb_end.time_s - truth.release.time_s),
        "coldest_air_k": float(truth.temperature_k[coldest]),
        "coldest_air_height_m": float(truth.height_m[coldest]),
        "greatest_ground_speed_m_s": float(np.where(flying, ground_speed, 0.0).max()),
        "greatest_fall_speed_m_s": float(np.where(flying, fall_speed, 0.0).max()),
        "start_utc": truth.start_utc.isoformat(),
    }
    for name in ("release", "burst", "landing", "climb_end"):
        moment = getattr(truth, name)
        figures[name] = moment and {
            "time_s": moment.time_s,
            "latitude_deg": moment.latitude_deg,
            "longitude_deg": moment.longitude_deg,
            "height_m": moment.height_m,
        }
    return figures


def _mean_over(values, samples):
    return np.convolve(values, np.full(samples, 1.0 / samples), "same")


def write_truth(folder, truth, mission, seed):
    """Write truth.csv (a line a second), truth-air.csv (a line each 20 m) and truth.json (the figures).

    folder: Path; truth: a Truth; mission, seed: those that it was flown with.
    """
    step = round(1.0 / (truth.time_s[1] - truth.time_s[0]))
    names = [column for column, _, _ in _COLUMNS] + ["board_temperature_k", "battery_v"]
    series = [np.round(getattr(truth, name)[::step], digits).tolist() for _, name, digits in _COLUMNS]
    series += [np.round(values[::step], 3).tolist() for values in board_series(truth, mission)]
    _write_table(folder / "truth.csv", names, series)
    _write_table(folder / "truth-air.csv", *air_table(truth))
    figures = {**truth_figures(truth), **details(truth, mission, seed), "clock_drift_ppm": DRIFT_PPM}
    (folder / "truth.json").write_text(json.dumps(figures, indent=1), "utf-8")


def air_table(truth):
    """Columns of the air between the lowest and the highest point of a flight, gusts left out: (names, lists)."""
    height_m = np.arange(float(truth.height_m.min()), float(truth.height_m.max()) + _AIR_STEP_M, _AIR_STEP_M)
    east, north = truth.air.wind_m_s(height_m)
    columns = {
        "height_m": (height_m, 1), "pressure_pa": (truth.air.pressure_pa(height_m), 2),
        "temperature_k": (truth.air.temperature_k(height_m), 3),
        "relative_humidity_percent": (truth.air.relative_humidity_percent(height_m), 2),
        "wind_east_m_s": (east, 3), "wind_north_m_s": (north, 3),
    }  # fmt: skip
    return list(columns), [np.round(values, digits).tolist() for values, digits in columns.values()]


def _write_table(path, names, columns):
    with open(path, "w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(names)
        writer.writerows(zip(*columns))
