"""Steps that the demo and `loftbook simulate` share: a folder that appears whole, a flight, a recovery."""

import subprocess
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

from ground.errors import LoftbookError
from onboard.simulator import runners

RECOVERED = "recovered"
WITH_LOSSES = 4  # exit code of `loftbook recover`
_NAMES = {"unix": "MicroPython, unix port", "wasm": "MicroPython, WebAssembly", "cpython": "CPython"}


@contextmanager
def new_folder(folder):
    """Give (scratch folder, result folder); the result becomes `folder` if all goes well.

    Raises LoftbookError if the folder exists, has no parent, or cannot be written.
    """
    folder = Path(folder)
    if folder.exists() or folder.is_symlink():
        raise LoftbookError(f"{folder}: already exists; name a new folder with -o or remove this one")
    if not folder.absolute().parent.is_dir():
        raise LoftbookError(f"{folder}: its parent folder does not exist; make that first")
    try:
        with tempfile.TemporaryDirectory(prefix=".loftbook-", dir=folder.absolute().parent) as scratch:
            result = Path(scratch) / "result"
            result.mkdir()
            yield Path(scratch), result
            result.rename(folder)
    except OSError as error:
        raise LoftbookError(f"{folder}: cannot be written: {error.strerror or error}") from None


@contextmanager
def progress_bar(verb, interpreter, total):
    """Show a bar of progress on standard error. Gives a function that takes how much of `total` is done."""
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True)) as progress:
        task = progress.add_task(f"{verb} on {_NAMES[interpreter]}", total=total)

        def show(done):
            progress.update(task, completed=done)

        yield show
        show(total)


def fly(flight, staged, interpreter):
    """Fly a prepared folder with a bar of progress on standard error.

    flight, staged: Path, the second a folder for the compiled firmware; interpreter: "unix", "wasm" or "cpython".
    Raises RunError if the interpreter stops early.
    """
    with progress_bar("Flying", interpreter, 1000) as show:
        if interpreter == "cpython":
            runners.run_in_process(flight, show)
        else:
            runners.stage(staged)
            run = runners.run_on_unix if interpreter == "unix" else runners.run_on_wasm
            run(flight, staged, show)


def recover(result, card):
    """Run `loftbook recover` on a card in the result folder, as a team would. Returns its lines of output.

    Raises LoftbookError if it fails; losses are no failure.
    """
    return _loftbook(result, (0, WITH_LOSSES), "recover", card, "-o", RECOVERED)


def report(result, mission):
    """Run `loftbook report` on what was recovered in the result folder. Returns its lines of output.

    mission: name of the mission file there. Raises LoftbookError if it fails.
    """
    return _loftbook(result, (0,), "report", RECOVERED, "--mission", mission)


def _loftbook(result, good, *words):
    command = [sys.executable, "-m", "ground", *words]
    done = subprocess.run(
        command, cwd=result, stdin=subprocess.DEVNULL, capture_output=True, text=True, encoding="utf-8"
    )
    if done.returncode not in good:
        raise LoftbookError(f"loftbook {words[0]} failed: {done.stderr.strip()}")
    return done.stdout.splitlines()
