"""A new folder for output, which appears whole or not at all."""

import os
import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path

from ground.errors import LoftbookError


def check_output(folder, source=None):
    """Refuse an output folder that cannot be written whole, before any work is done for it.

    folder: where the output shall appear. source: path of what is being read, if it is a path.
    Raises LoftbookError if the folder exists, its parent does not, or it lies inside the source.
    """
    folder = Path(folder)
    if folder.exists() or folder.is_symlink():
        raise LoftbookError(f"{folder}: exists already and is not overwritten; name a new folder")
    if not folder.parent.is_dir():
        raise LoftbookError(f"{folder}: there is no folder {folder.parent} to put it in; make it first")
    if source is not None:
        inside, outside = folder.parent.resolve() / folder.name, Path(source).resolve()
        if inside.is_relative_to(outside):
            raise LoftbookError(
                f"{folder}: lies inside the source {source}, which is never written; name another place"
            )


@contextmanager
def new_folder(folder, source=None):
    """Give a scratch folder beside `folder` that becomes it if all goes well; nothing is left of it otherwise.

    Raises LoftbookError as check_output, or if the folder cannot be written.
    """
    folder = Path(folder)
    check_output(folder, source)
    try:
        making = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except OSError as error:
        raise _cannot_write(folder, error) from None
    try:
        yield making
        os.chmod(making, 0o777 & ~_umask())  # mkdtemp's folder is closed to others
        check_output(folder, source)  # renaming onto an empty folder would succeed
        making.rename(folder)
    except OSError as error:
        raise _cannot_write(folder, error) from None
    finally:
        shutil.rmtree(making, ignore_errors=True)


def _umask():
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _cannot_write(folder, error):
    return LoftbookError(
        f"{folder}: cannot be written ({error.strerror or error}); choose a place with room and access"
    )
