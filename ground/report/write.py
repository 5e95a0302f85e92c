"""The folder of a recovery: tables, summary, account, pictures, ledger. It appears whole or not at all."""

import json
import os
import shutil
import tempfile
from pathlib import Path

from ground.errors import LoftbookError
from ground.report.account import account
from ground.report.picture import picture
from ground.report.tables import write_table


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


def write_flight(folder, flight, summary, recovered, source=None):
    """Write one flight: as `write_flights` with a single result."""
    write_flights(folder, [(flight, summary)], recovered, source)


def write_flights(folder, results, recovered, source=None, unproven=None):
    """Write all that was recovered from a source.

    folder: path to create: KIND.csv a kind of record, summary.txt, summary.json, account.txt, the picture
    card.svg, and ledger.json; of several flights each has a sub-folder flight-XXXXXXXX, beside which the
    ledger and the picture stand; several sources have a picture each: card-1.svg, card-2.svg and so on.
    results: list of (Flight, Summary). recovered: Recovered. source: as for check_output.
    unproven: dict flight -> tables (kind -> Table, see decode_unproven) that become files unproven-KIND.csv.
    Raises LoftbookError if the folder cannot be written; nothing of it is left then.
    """
    folder = Path(folder)
    check_output(folder, source)
    try:
        making = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except OSError as error:
        raise _cannot_write(folder, error) from None
    try:
        _fill(making, results, recovered, unproven or {})
        os.chmod(making, 0o777 & ~_umask())  # mkdtemp's folder is closed to others
        check_output(folder, source)  # renaming onto an empty folder would succeed
        making.rename(folder)
    except OSError as error:
        raise _cannot_write(folder, error) from None
    finally:
        shutil.rmtree(making, ignore_errors=True)


def _fill(folder, results, recovered, unproven):
    for flight, summary in results:
        inner = folder
        if len(results) > 1:
            inner = folder / f"flight-{_file_name(flight.flight)}"
            inner.mkdir()
        launch = summary.moments.launch if summary.moments else None
        taken = {"ledger.json", "summary.json", "summary.txt"}
        doubtful = {f"unproven-{kind}": table for kind, table in unproven.get(flight.flight, {}).items()}
        for name, table in [*flight.tables.items(), *doubtful.items()]:
            write_table(inner / _free_name(_file_name(name), taken), table, launch)
        (inner / "summary.txt").write_text(summary.text(evidence=True), encoding="utf-8")
        _write_json(inner / "summary.json", summary)
        told = account(recovered.ledger, flight, summary, recovered.unproven)
        (inner / "account.txt").write_text(told, encoding="utf-8")
    sources = recovered.ledger.sources
    for number, source in enumerate(sources, 1):
        name = f"card-{number}.svg" if len(sources) > 1 else "card.svg"
        (folder / name).write_text(picture(source), encoding="utf-8")
    _write_json(folder / "ledger.json", recovered.ledger.to_json())


def _write_json(path, content):
    text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8")


def _file_name(name):
    """A name from a log, which may hold anything, as a name that every file system takes."""
    safe = "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "_" for c in name)
    return safe[:60] or "_"


def _free_name(stem, taken):
    # Kinds that differ only in letters that are not safe, or in case, must not share a file.
    name, number = f"{stem}.csv", 2
    while name.lower() in taken:
        name, number = f"{stem}_{number}.csv", number + 1
    taken.add(name.lower())
    return name


def _umask():
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _cannot_write(folder, error):
    return LoftbookError(
        f"{folder}: cannot be written ({error.strerror or error}); choose a place with room and access"
    )
