"""The folder of a recovery: tables, summary, account, pictures, ledger. It appears whole or not at all."""

import json

from ground.new_folder import new_folder
from ground.report.account import account
from ground.report.picture import picture
from ground.report.tables import write_table


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
    with new_folder(folder, source) as making:
        _fill(making, results, recovered, unproven or {})


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
