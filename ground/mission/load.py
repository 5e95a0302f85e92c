"""Read and check mission.toml.

Every section is a frozen dataclass whose fields are the keys of the file, so a key exists
in exactly one place: its name, its type, its default and, by its suffix, its unit.
"""

import tomllib
from dataclasses import MISSING, dataclass, field, fields
from pathlib import Path


class MissionError(ValueError):
    """A mission file that cannot be used; the message names file, section and key."""


@dataclass(frozen=True)
class Payload:
    name: str
    mass_kg: float  # everything below the balloon's neck: payload, line, parachute


@dataclass(frozen=True)
class Launch:
    site: str
    latitude_deg: float
    longitude_deg: float
    height_m: float  # above mean sea level
    utc: str  # ISO 8601, ends in Z
    landing_height_m: float  # ground height expected where it comes down


@dataclass(frozen=True)
class Balloon:
    mass_kg: float
    burst_diameter_m: float
    free_lift_kg: float  # lift left over after balloon and payload are carried
    gas: str = "helium"  # or "hydrogen"
    drag_coefficient: float = 0.30  # in dense air, where the flow around the balloon is turbulent
    drag_coefficient_thin_air: float = 0.50  # high up, where it is not: see the simulator's balloon.py


@dataclass(frozen=True)
class Parachute:
    drag_area_m2: float  # drag coefficient times area


@dataclass(frozen=True)
class Barometer:
    chip: str = "ms5611"
    calibration: tuple = ()
    noise_pa: float = 1.5


@dataclass(frozen=True)
class OutsideTemperature:
    chip: str = "pt1000_divider"
    reference_ohm: float = 1000.0
    time_constant_s: float = 6.0
    noise_k: float = 0.05


@dataclass(frozen=True)
class Humidity:
    chip: str = "sht3x"


@dataclass(frozen=True)
class Motion:
    chip: str = "mpu6050"
    acceleration_range_g: int = 16
    rate_range_deg_s: int = 2000


@dataclass(frozen=True)
class Gnss:
    chip: str = "nmea"
    ceiling_m: float = 0.0  # reports nothing above this height; 0 = no ceiling
    noise_m: float = 2.5
    output_delay_ms: int = 120  # from the epoch of a fix to its first character


@dataclass(frozen=True)
class Battery:
    cells: int = 3
    capacity_mah: float = 3000.0
    divider_ratio: float = 3.0
    reference_mv: int = 3300


@dataclass(frozen=True)
class Rates:
    pressure_ms: int = 200  # with the other rates, a block is nearly full at the age at which it is closed
    air_ms: int = 1000
    motion_ms: int = 100
    power_ms: int = 5000
    health_ms: int = 10000
    manifest_ms: int = 300000


@dataclass(frozen=True)
class Parity:
    depth: int = 16  # so many lost blocks in a row come back; 0 switches parity off
    rate: int = 10  # data blocks a parity block


@dataclass(frozen=True)
class Mission:
    payload: Payload
    launch: Launch
    balloon: Balloon
    parachute: Parachute
    sounding: str = ""  # a file beside mission.toml, or the name of one that ships here
    barometer: Barometer = field(default_factory=Barometer)
    outside_temperature: OutsideTemperature = field(default_factory=OutsideTemperature)
    humidity: Humidity = field(default_factory=Humidity)
    motion: Motion = field(default_factory=Motion)
    gnss: Gnss = field(default_factory=Gnss)
    battery: Battery = field(default_factory=Battery)
    rates: Rates = field(default_factory=Rates)
    parity: Parity = field(default_factory=Parity)


def load_mission(path) -> Mission:
    """Read a mission file.

    path: str or Path of a TOML file.
    Returns a Mission, all quantities in the units that the keys' suffixes name.
    Raises MissionError with file, section and key when the file cannot be used.
    """
    path = Path(path)
    try:
        content = tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        raise MissionError(f"{path}: no such mission file; give the path of a mission.toml") from None
    except IsADirectoryError:
        raise MissionError(f"{path}: is a folder; give the path of the mission.toml inside it") from None
    except UnicodeDecodeError:
        raise MissionError(f"{path}: is not UTF-8 text; save the mission file as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise MissionError(f"{path}: is not valid TOML: {error}") from None
    except (RecursionError, ValueError):  # nested beyond reason, or a number of thousands of digits
        raise MissionError(f"{path}: is not a mission file: brackets too deep or a number too long; check it") from None
    return _build(Mission, content, str(path), "")


def _build(section_type, content, where, section):
    known = {f.name: f for f in fields(section_type)}
    for key in content:
        if key not in known:
            raise MissionError(f"{where}: unknown key {section}{key}; known here: {', '.join(known)}")
    values = {}
    for name, f in known.items():
        if name in content:
            values[name] = _convert(f.type, content[name], where, section + name)
        elif f.default is MISSING and f.default_factory is MISSING:
            raise MissionError(f"{where}: key {section}{name} is missing; add it")
    return section_type(**values)


def _convert(wanted, value, where, key):
    if hasattr(wanted, "__dataclass_fields__"):
        if not isinstance(value, dict):
            raise MissionError(f"{where}: {key} must be a section, written [{key}]")
        return _build(wanted, value, where, key + ".")
    if wanted is float and isinstance(value, int) and not isinstance(value, bool):
        try:
            return float(value)
        except OverflowError:
            raise MissionError(f"{where}: {key} is too large a number; check it") from None
    if wanted is tuple and isinstance(value, list):
        return tuple(value)
    if not isinstance(value, wanted) or isinstance(value, bool):
        names = {float: "a number", int: "a whole number", str: "text in quotes", tuple: "a list"}
        raise MissionError(f"{where}: {key} must be {names[wanted]}, not {value!r}")
    return value
