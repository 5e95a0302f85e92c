"""Put a report where it belongs: whole or not at all, and never over something that is not a report of ours."""

import os
import tempfile
from pathlib import Path

from ground.errors import LoftbookError
from ground.new_folder import new_folder
from ground.page.page import MARKER, payload_name, when
from ground.page.plot import NoPlot
from ground.report.plain import printable

_LONGEST_NAME = 40  # in the foot of a picture
_HEAD_BYTES = 1000  # the marker stands within so many bytes from the beginning


def check_report(path):
    """Refuse a place for a report, before any work is done for it.

    path: Path. Raises LoftbookError if something other than a report of ours is there, or no folder for it.
    """
    path = Path(path)
    if not path.parent.is_dir():
        raise LoftbookError(f"{path}: there is no folder {path.parent} to put it in; make it first")
    if path.is_dir():
        raise LoftbookError(f"{path}: is a folder; name a file for the report")
    if path.is_symlink() or (path.exists() and not is_report(path)):
        raise LoftbookError(f"{path}: exists already and is no report of ours; name another place with -o")


def is_report(path):
    """True if a file begins as the reports of this program do."""
    try:
        with open(path, "rb") as file:
            head = file.read(_HEAD_BYTES)
    except OSError:
        return False
    return f'<meta name="generator" content="{MARKER}">'.encode() in head


def write_report(path, text):
    """Write a report in place of an older one, if any. path: Path. text: of make_page.

    Raises LoftbookError as check_report, or if the file cannot be written; an older report stays as it was then.
    """
    path = Path(path)
    check_report(path)
    making = None
    try:
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", dir=path.parent, prefix=f".{path.name}-", delete=False
        ) as file:
            making = file.name
            file.write(text)
        os.chmod(making, 0o666 & ~_umask())  # the scratch file is closed to others
        os.replace(making, path)
    except OSError as error:
        if making is not None:
            Path(making).unlink(missing_ok=True)
        raise LoftbookError(
            f"{path}: cannot be written ({error.strerror or error}); choose a place with room and access"
        ) from None


def write_pictures(folder, recorded, plots, imperial=False):
    """Write each Plot as a PNG into a new folder. Returns the names of the files.

    Raises LoftbookError if the folder exists or cannot be written.
    """
    from ground.page.still import write_picture  # matplotlib takes a second to load

    source = f"{printable(payload_name(recorded), _LONGEST_NAME)}, {when(recorded)}"
    names = []
    with new_folder(folder) as making:
        for plot in plots:
            if not isinstance(plot, NoPlot):
                names.append(f"{plot.key}.png")
                write_picture(making / names[-1], plot, source, imperial)
    return names


def _umask():
    mask = os.umask(0)
    os.umask(mask)
    return mask
