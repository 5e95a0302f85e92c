"""What several commands do alike."""

import sys

from rich.console import Console
from rich.progress import (
    BarColumn, DownloadColumn, Progress, TextColumn, TimeRemainingColumn, TransferSpeedColumn,
)

from ground.errors import LoftbookError
from ground.recover import recover_sources

NOTHING_FOUND = 3


def progress_bar():
    """A progress display on stderr (a context manager), silent if that is no terminal."""
    console = Console(file=sys.stderr)
    return Progress(console=console, disable=not console.is_terminal, transient=True)


def byte_progress_bar():
    """A progress display of bytes, with their rate and the time left; otherwise as progress_bar."""
    console = Console(file=sys.stderr)
    columns = (
        TextColumn("{task.description}"), BarColumn(), DownloadColumn(), TransferSpeedColumn(),
        TimeRemainingColumn(),
    )
    return Progress(*columns, console=console, disable=not console.is_terminal, transient=True)


def recover_or_fail(sources):
    """Recover sources (list of Path) with a progress bar. Raises LoftbookError if there is nothing of ours
    in them.
    """
    names = ", ".join(str(source) for source in sources)
    with byte_progress_bar() as progress:
        task = progress.add_task(f"reading {', '.join(source.name for source in sources)}", total=None)
        recovered = recover_sources(
            sources, progress=lambda done, total: progress.update(task, completed=done, total=total)
        )
    if not recovered.boots:
        size = recovered.ledger.size
        reasons = "".join(f"; lost: {doubt}" for doubt in recovered.ledger.doubts)
        raise LoftbookError(
            f"nothing of ours found in {names}: {count(size, 'byte')} read, no block, no packet{reasons}",
            NOTHING_FOUND,
        )
    return recovered


def count(number, thing):
    """Say how many: 1 packet, 2 packets."""
    return f"{number} {thing}" + ("" if number == 1 else "s")


def flight_title(boots):
    """Name a flight by its identity and, if its manifest was found, its payload."""
    payload = next((boot.manifest.payload for boot in boots if boot.manifest), "")
    return boots[0].flight + (f" ({payload})" if payload else "")
