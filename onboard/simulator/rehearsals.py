"""The list of rehearsals that ships with the project."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

from ground.errors import LoftbookError

_FILE = Path(__file__).with_name("rehearsals.toml")


@dataclass(frozen=True)
class Rehearsal:
    """name: one word; line: what happens, for a reader; faults: tuple of orders as fault_words.read_fault takes;
    mishaps: tuple of orders as mishap_words.read_mishaps takes."""

    name: str
    line: str
    faults: tuple
    mishaps: tuple = ()


def rehearsals():
    """All rehearsals, name -> Rehearsal, from nothing to everything."""
    content = tomllib.loads(_FILE.read_text("utf-8"))
    found = [
        Rehearsal(item["name"], item["line"], tuple(item["faults"]), tuple(item.get("mishaps", ())))
        for item in content["rehearsal"]
    ]
    return {rehearsal.name: rehearsal for rehearsal in found}


def find_rehearsal(name):
    """The rehearsal of that name. Raises LoftbookError if there is none."""
    known = rehearsals()
    if name not in known:
        raise LoftbookError(f"there is no rehearsal {name!r}; `loftbook simulate --list` shows: {', '.join(known)}")
    return known[name]


def list_lines():
    """The lines of `loftbook simulate --list`."""
    known = rehearsals()
    width = max(map(len, known))
    return [f"{name:<{width}}  {rehearsal.line}" for name, rehearsal in known.items()]
