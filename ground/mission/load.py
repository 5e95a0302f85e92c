"""Read and check mission.toml; the sections and their keys stand in sections.py."""

import tomllib
from dataclasses import MISSING, fields, is_dataclass
from difflib import get_close_matches
from pathlib import Path
from types import UnionType
from typing import get_args, get_origin

from ground.mission.check import check_mission
from ground.mission.lines import key_lines
from ground.mission.sections import (
    Balloon, Barometer, Battery, Corrections, Downlink, Gnss, Humidity, Launch, Mission, Motion, OutsideTemperature,
    Parachute, Parity, Payload, Pins, Probe, Rates, Switch,
)
from ground.mission.wrong import Wrong

__all__ = [
    "Balloon", "Barometer", "Battery", "Corrections", "Downlink", "Gnss", "Humidity", "Launch", "Mission",
    "MissionError", "Motion", "OutsideTemperature", "Parachute", "Parity", "Payload", "Pins", "Probe", "Rates", "Switch",
    "load_mission",
]

_TYPE_WORDS = {
    float: "a number", int: "a whole number", str: "text in quotes", tuple: "a list in brackets",
    bool: "true or false",
}


class MissionError(ValueError):
    """A mission file that cannot be used; the message, one line, names file, line and key."""


def load_mission(path) -> Mission:
    """Read a mission file.

    path: str or Path of a TOML file.
    Returns a Mission, all quantities in the units that the keys' suffixes name.
    Raises MissionError with file, line and key when the file cannot be used.
    """
    path = Path(path)
    try:
        text = path.read_text("utf-8-sig")
        content = tomllib.loads(text)
        mission = _build(Mission, content, ())
        check_mission(mission)
        return mission
    except FileNotFoundError:
        raise MissionError(f"{path}: no such mission file; give the path of a mission.toml") from None
    except IsADirectoryError:
        raise MissionError(f"{path}: is a folder; give the path of the mission.toml inside it") from None
    except UnicodeDecodeError:
        raise MissionError(f"{path}: is not UTF-8 text; save the mission file as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise MissionError(f"{path}: is not valid TOML: {error}") from None
    except Wrong as wrong:
        raise MissionError(_one_line(path, text, wrong)) from None
    except (RecursionError, ValueError):  # nested beyond reason, or a number of thousands of digits
        words = "is not a mission file: brackets too deep or a number too long; check it"
        raise MissionError(f"{path}: {words}") from None


def _one_line(path, text, wrong):
    try:
        lines = key_lines(text)
    except RecursionError:
        lines = {}
    place = wrong.path
    while place and place not in lines:  # a missing key has no line; its section has
        place = place[:-1]
    where = f"{path}, line {lines[place]}" if place else str(path)
    message = f"{where}: {key_name(wrong.path)} {wrong.words}"
    return " ".join(message.split())


def key_name(path):
    """A key as the reader of the file sees it: pins.i2c_sda, or switches[2].pin (the second)."""
    name = ""
    for part in path:
        name += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if name else part
    return name if len(name) <= 100 else name[:97] + "..."


def _build(section, content, path):
    known = {f.name: f for f in fields(section)}
    for key in content:
        if key not in known:
            near = get_close_matches(key, known, 1)
            hint = f"did you mean {near[0]}?" if near else f"known here: {', '.join(known)}"
            raise Wrong((*path, key), f"is not a known key; {hint}")
    values = {}
    for name, f in known.items():
        if name in content:
            values[name] = _convert(f.type, content[name], (*path, name), f.metadata)
        elif f.default is MISSING and f.default_factory is MISSING:
            what = f"the section [{name}]" if is_dataclass(f.type) else "it"
            raise Wrong((*path, name), f"is missing; add {what}")
    return section(**values)


def _convert(wanted, value, path, limits):
    if isinstance(wanted, UnionType):  # X | None: None is what a key that is left out means
        wanted = get_args(wanted)[0]
    if get_origin(wanted) is tuple:
        return _tables(get_args(wanted)[0], value, path)
    if is_dataclass(wanted):
        if not isinstance(value, dict):
            raise Wrong(path, f"must be a section, written [{path[-1]}]")
        return _build(wanted, value, path)
    if wanted is float and type(value) is int:
        try:
            value = float(value)
        except OverflowError:
            raise Wrong(path, "is too large a number; check it") from None
    if wanted is tuple and isinstance(value, list):
        return tuple(value)
    if type(value) is not wanted:
        raise Wrong(path, f"must be {_TYPE_WORDS[wanted]}, not {shown(value)}")
    return _within(value, path, limits)


def _tables(kind, value, path):
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        raise Wrong(path, f"must be sections, each written [[{path[-1]}]]")
    return tuple(_build(kind, item, (*path, number)) for number, item in enumerate(value))


def _within(value, path, limits):
    if "known" in limits and value not in limits["known"]:
        raise Wrong(path, f"is {shown(value)}; known: {', '.join(str(choice) for choice in limits['known'])}")
    if "least" in limits and not limits["least"] <= value <= limits["most"]:
        raise Wrong(path, f"is {shown(value)}; it must be {limits['least']:g} to {limits['most']:g}")
    if isinstance(value, str) and not all(character.isprintable() for character in value):
        raise Wrong(path, "must be text on one line")
    return value


def shown(value):
    """A value for a message, short."""
    text = f'"{value}"' if isinstance(value, str) else repr(value)
    return text if len(text) <= 40 else text[:37] + "..."
