"""What several commands do alike."""

import sys

from rich.console import Console
from rich.progress import Progress

from ground.errors import LoftbookError
from ground.recover import recover_source

NOTHING_FOUND = 3


def progress_bar():
    """A progress display on stderr (a context manager), silent if that is no terminal."""
    console = Console(file=sys.stderr)
    return Progress(console=console, disable=not console.is_terminal, transient=True)


def recover_or_fail(source):
    """Recover a source with a progress bar. Raises LoftbookError if there is nothing of ours in it."""
    with progress_bar() as progress:
        task = progress.add_task(f"reading {source.name}", total=None)
        recovered = recover_source(
            source, progress=lambda done, total: progress.update(task, completed=done, total=total)
        )
    if not recovered.boots:
        size = recovered.ledger.size
        raise LoftbookError(
            f"nothing of ours found in {source}: {count(size, 'byte')} read, no block, no packet",
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
