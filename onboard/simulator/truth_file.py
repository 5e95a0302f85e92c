"""The truth of a simulated flight as files: a table at one line a second, and the figures that matter."""

import csv
import json

import numpy as np

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
)


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
        "climb_rate_m_s": (truth.burst.height_m - truth.release.height_m)
        / (truth.burst.time_s - truth.release.time_s),
        "coldest_air_k": float(truth.temperature_k[coldest]),
        "coldest_air_height_m": float(truth.height_m[coldest]),
        "greatest_ground_speed_m_s": float(np.where(flying, ground_speed, 0.0).max()),
        "greatest_fall_speed_m_s": float(np.where(flying, fall_speed, 0.0).max()),
        "start_utc": truth.start_utc.isoformat(),
    }
    for name in ("release", "burst", "landing"):
        moment = getattr(truth, name)
        figures[name] = {
            "time_s": moment.time_s,
            "latitude_deg": moment.latitude_deg,
            "longitude_deg": moment.longitude_deg,
            "height_m": moment.height_m,
        }
    return figures


def _mean_over(values, samples):
    return np.convolve(values, np.full(samples, 1.0 / samples), "same")


def write_truth(folder, truth):
    """Write truth.csv (a line a second) and truth.json (the figures) into a folder."""
    step = round(1.0 / (truth.time_s[1] - truth.time_s[0]))
    with open(folder / "truth.csv", "w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow([column for column, _, _ in _COLUMNS])
        series = [np.round(getattr(truth, name)[::step], digits).tolist() for _, name, digits in _COLUMNS]
        writer.writerows(zip(*series))
    (folder / "truth.json").write_text(json.dumps(truth_figures(truth), indent=1), "utf-8")
