"""Lines about a rehearsed flight, from the files that `loftbook recover` wrote."""

import csv
from collections import Counter
from datetime import datetime, timedelta

_MOST_EVENTS = 8  # of one subject
# Columns that every table has, or that say nothing about a sensor.
_NO_VALUES = ("utc", "seconds_since_launch", "boot", "tick_ms", "evidence", "satellites", "quality")


def since_launch(milliseconds):
    """A time as +h:mm:ss, or -h:mm:ss before launch."""
    seconds = abs(round(milliseconds / 1000))
    sign = "-" if milliseconds < 0 else "+"
    return f"{sign}{seconds // 3600}:{seconds // 60 % 60:02}:{seconds % 60:02}"


def _rows(path):
    if not path.exists():
        return []
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _when(row, launch_utc):
    if row["utc"]:
        return since_launch((datetime.fromisoformat(row["utc"]) - launch_utc).total_seconds() * 1000)
    if row["seconds_since_launch"]:
        return since_launch(float(row["seconds_since_launch"]) * 1000)
    return f"boot {row['boot']}, {int(row['tick_ms']) / 1000:.0f} s"


def event_lines(folder, figures):
    """What the log's events and messages say, one line each.

    folder: of the recovery; figures: those of truth.json, for the time of launch.
    """
    launch_utc = datetime.fromisoformat(figures["start_utc"]) + timedelta(seconds=figures["release"]["time_s"])
    lines = []
    told, last = Counter(), {}
    for row in _rows(folder / "event.csv"):
        what, about = row["event"], row["subject_name"]
        if what == "phase changed" and int(row["detail"]) == 0:
            continue  # a boot repeats the phase that it goes on with
        told[about] += 1
        line = f"{_when(row, launch_utc):>12}  {_event_words(what, about, row)}"
        if told[about] > _MOST_EVENTS:
            last[about] = line
        else:
            lines.append(line)
    for about, line in last.items():
        lines.append(f"and {told[about] - _MOST_EVENTS} more events of {about}, the last one:")
        lines.append(line)
    messages = _rows(folder / "text.csv")
    if messages:
        lines.append(f"and messages, see recovered/text.csv ({len(messages)} lines)")
    return lines or ["nothing: no event was recovered"]


def _event_words(what, about, row):
    about = about.replace("_", " ")
    detail = row["detail"]
    if what == "device failed":
        return f"{about} failed (error {detail})"
    if what == "device returned":
        return f"{about} works again, after {detail} {'failure' if detail == '1' else 'failures'}"
    if what == "blocks lost":
        return f"{detail} {_blocks(int(detail))} found no room while the card failed"
    if what == "booted":
        return f"booted ({about}), {detail} sectors of the log were found written"
    if what == "phase changed":
        return f"{about}, at {detail} m"
    if what == "card full":
        return "the card is nearly full"
    if what == "switch changed":
        return f"{about} switched {'on' if detail == '1' else 'off'}"
    if what == "receiver set":
        return f"{about} took over the airborne model ({detail})"
    if what == "receiver not set":
        return f"{about} {'refused' if detail == '1' else 'did not answer'} the setting of the airborne model"
    return " ".join(word for word in (what, about, detail) if word)


def loss_lines(folder, ledger, mission, length_s):
    """How much of what a flight without faults would log came back, and what the ledger counts as lost."""
    rates = vars(mission.rates)
    periods = [(kind, rates[f"{kind}_ms"]) for kind in ("pressure", "air", "motion", "power", "health")]
    lines = [f"{'':<10}{'expected':>10}{'recovered':>11}{'without a value':>17}"]
    for kind, period_ms in [*periods, ("fix", 1000)]:
        expected = int(length_s * 1000 / period_ms)
        rows = _rows(folder / f"{kind}.csv")
        lines.append(f"{kind:<10}{expected:>10}{len(rows):>11}{sum(map(_is_empty, rows)):>17}")
    for reason in sorted({loss["reason"] for loss in ledger["losses"]}):
        losses = [loss for loss in ledger["losses"] if loss["reason"] == reason]
        blocks = sum(loss["last_number"] - loss["first_number"] + 1 for loss in losses)
        lines.append(f"{blocks} {_blocks(blocks)} lost: {reason}")
    if not ledger["losses"]:
        lines.append("No written block is lost.")
    unwritten = sum(int(row["detail"]) for row in _rows(folder / "event.csv") if row["event"] == "blocks lost")
    if unwritten:
        lines.append(f"{unwritten} {_blocks(unwritten)} found no room while the card failed: given up on board.")
    return lines


def _blocks(count):
    return "block" if count == 1 else "blocks"


def _is_empty(row):
    return not any(value for name, value in row.items() if name not in _NO_VALUES)


def number_lines(comparisons):
    """A table of Comparisons: truth, recovered, and whether they agree."""
    lines = [f"{'':<31}{'truth':>10}{'recovered':>12}"]
    for line in comparisons:
        truth = f"{round(line.truth, line.digits) + 0.0:.{line.digits}f}"  # no "-0.0"
        stated = "" if line.stated is None else f"{round(line.stated, line.digits) + 0.0:.{line.digits}f}"
        word = "not stated" if line.stated is None else "agrees" if line.agrees else "DIFFERS"
        lines.append(f"{f'{line.what} [{line.unit}]':<31}{truth:>10}{stated:>12}  {word}")
    return lines
