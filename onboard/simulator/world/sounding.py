"""Read a radiosonde sounding from CSV."""

import csv
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import numpy as np

# Column of the file -> (lowest, highest) value that can be meant. The other columns are not used.
_FLAG = "reported_tropopause"  # a column that a file need not have: 1 at a tropopause
_COLUMNS = {
    "pressure_hPa": (0.01, 1100.0),
    "geopotential_height_m": (-500.0, 60000.0),
    "temperature_degC": (-150.0, 70.0),
    "dew_point_degC": (-150.0, 70.0),
    "relative_humidity_percent": (0.0, 110.0),
    "wind_from_deg": (0.0, 360.0),
    "wind_speed_m_s": (0.0, 200.0),
}


class SoundingError(ValueError):
    """A sounding that cannot be used; the message names file and line."""


@dataclass(frozen=True)
class Sounding:
    """The levels of one ascent, upwards; float arrays (n,), NaN where a level lacks the value."""

    source: str
    geopotential_height_m: np.ndarray  # strictly increasing, never NaN
    pressure_pa: np.ndarray
    temperature_k: np.ndarray
    dew_point_k: np.ndarray
    relative_humidity_percent: np.ndarray
    wind_from_deg: np.ndarray  # direction the wind comes from, clockwise from north
    wind_speed_m_s: np.ndarray
    tropopauses_m: tuple = ()  # geopotential heights of the levels that the file marks as a tropopause


def shipped_soundings():
    """Names of the soundings that come with the simulator, sorted."""
    folder = files("onboard.simulator") / "soundings"
    return sorted(item.name for item in folder.iterdir() if item.name.endswith(".csv"))


def find_sounding(name, folder="."):
    """Find a sounding by the name that mission.toml gives.

    name: an absolute path, a path relative to folder, or the name of a sounding that ships here.
    folder: where relative paths start, usually that of mission.toml.
    Returns a path-like object for read_sounding. Raises SoundingError when there is none.
    """
    if not name:
        choices = ", ".join(shipped_soundings())
        raise SoundingError(f"the mission names no sounding; set sounding to a CSV file or one of: {choices}")
    beside = Path(folder) / name
    if beside.is_file():
        return beside
    if name in shipped_soundings():
        return files("onboard.simulator") / "soundings" / name
    choices = ", ".join(shipped_soundings())
    raise SoundingError(f"{name}: no such sounding in {Path(folder)}; give a CSV file or one of: {choices}")


def read_sounding(path):
    """Read a sounding.

    path: str, Path or resource of a UTF-8 CSV file with the columns pressure_hPa,
    geopotential_height_m, temperature_degC, dew_point_degC, relative_humidity_percent,
    wind_from_deg, wind_speed_m_s and perhaps reported_tropopause (others are ignored); empty fields are missing
    values.
    Levels without a height are skipped.
    Returns a Sounding. Raises SoundingError with file and line.
    """
    path = Path(path) if isinstance(path, str) else path
    try:
        text = path.read_text("utf-8-sig")
    except OSError as error:
        raise SoundingError(f"{path}: cannot be read ({error.strerror}); give a CSV file") from None
    except UnicodeDecodeError:
        raise SoundingError(f"{path}: is not UTF-8 text; give a sounding's CSV file") from None
    try:
        return _parsed(csv.DictReader(text.splitlines()), path)
    except csv.Error as error:
        raise SoundingError(f"{path}: is not a CSV table ({error}); give a sounding's CSV file") from None


def _parsed(rows, path):
    for column in _COLUMNS:
        if column not in (rows.fieldnames or ()):
            raise SoundingError(f"{path}, line 1: column {column} is missing; add it (it may be empty)")
    levels, tropopauses_m = [], []
    pressure_below = np.inf
    for row in rows:
        where = f"{path}, line {rows.line_num}"
        level = [_number(row[column], column, where) for column in _COLUMNS]
        pressure, height = level[:2]
        if np.isnan(height):
            continue
        if levels and height <= levels[-1][1]:
            raise SoundingError(f"{where}: geopotential_height_m {height:g} is not above the last level")
        if pressure > pressure_below:
            raise SoundingError(f"{where}: pressure_hPa {pressure:g} is above that of a lower level")
        pressure_below = np.fmin(pressure_below, pressure)
        levels.append(level)
        if (row.get(_FLAG) or "").strip() == "1":
            tropopauses_m.append(height)
    levels = np.array(levels, float).reshape(len(levels), len(_COLUMNS))
    return _checked(str(path), levels, tuple(tropopauses_m))


def _number(text, column, where):
    if text is None:
        raise SoundingError(f"{where}: the row ends before column {column}; complete or remove it")
    if not text.strip():
        return np.nan
    lowest, highest = _COLUMNS[column]
    try:
        value = float(text)
    except ValueError:
        value = np.nan
    if not lowest <= value <= highest:
        meant = f"a number from {lowest:g} to {highest:g}"
        raise SoundingError(f"{where}: {column} must be {meant}, not {text!r}")
    return value


def _checked(source, levels, tropopauses_m):
    pressure, height, temperature, dew_point, humidity, wind_from, wind_speed = levels.T
    for name, present, least in (
        ("pressure_hPa and temperature_degC", ~np.isnan(pressure) & ~np.isnan(temperature), 2),
        ("wind_from_deg and wind_speed_m_s", ~np.isnan(wind_from) & ~np.isnan(wind_speed), 1),
    ):
        if present.sum() < least:
            raise SoundingError(f"{source}: needs {least} or more levels with {name}, has {present.sum()}")
    return Sounding(
        source=source,
        geopotential_height_m=height,
        pressure_pa=pressure * 100.0,
        temperature_k=temperature + 273.15,
        dew_point_k=dew_point + 273.15,
        relative_humidity_percent=humidity,
        wind_from_deg=wind_from,
        wind_speed_m_s=wind_speed,
        tropopauses_m=tropopauses_m,
    )
