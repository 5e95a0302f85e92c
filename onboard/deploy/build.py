"""Build what a board gets: main.py, the configuration, and the compiled modules in lib/."""

import json
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from ground.mission.board import board_settings
from onboard.deploy.compile import compile_module
from onboard.firmware.settings import FILE_NAME, Settings

MAIN = "main.py"
LIBRARY = "lib"
PACKAGES = ("protocol", "onboard.firmware")


@dataclass(frozen=True)
class Built:
    """What was built: payload (name), flight (8 hexadecimal digits), hash (of the configuration, as the
    manifest has it), files (list of Path relative to the folder, main.py last) and their size in bytes.
    """

    payload: str
    flight: str
    hash: str
    files: list
    size: int


def build(mission, flight, folder):
    """Build everything into an empty folder.

    mission: a Mission; flight: 4 bytes; folder: Path.
    Returns a Built. Raises LoftbookError if a module does not compile, ValueError for a bad configuration.
    """
    text = json.dumps(board_settings(mission, flight))
    settings = Settings(text)  # the board refuses what it cannot use; better here than there
    (folder / FILE_NAME).write_text(text, "utf-8")
    for package in PACKAGES:
        _compile_package(package, folder / LIBRARY)
    main = resources.files("onboard.firmware") / MAIN
    (folder / MAIN).write_text(main.read_text("utf-8"), "utf-8")
    files = sorted(path.relative_to(folder) for path in folder.rglob("*") if path.is_file())
    files.remove(Path(MAIN))
    files.append(Path(MAIN))
    size = sum((folder / path).stat().st_size for path in files)
    return Built(settings.payload, flight.hex(), settings.hash, files, size)


def _compile_package(package, library):
    target = library.joinpath(*package.split("."))
    target.mkdir(parents=True)
    for source in resources.files(package).iterdir():
        if source.name.endswith(".py") and source.name != MAIN:
            with resources.as_file(source) as path:
                compile_module(path, f"{package}.{path.stem}", target / f"{path.stem}.mpy")
