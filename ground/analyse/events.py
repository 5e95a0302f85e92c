"""What the log's own events say about things that went wrong."""

from collections import Counter

TROUBLES = ("device failed", "blocks lost", "card full")


def event_notes(table):
    """Count the troubles that the board logged: a line each, by event and subject.

    table: the Table of events, or None.
    """
    if table is None or not {"event", "subject_name"} <= set(table.columns):
        return []
    pairs = zip(table.columns["event"].tolist(), table.columns["subject_name"].tolist(), strict=True)
    counts = Counter((event, subject) for event, subject in pairs if event in TROUBLES)
    return [
        f"the board logged {number} time{'' if number == 1 else 's'}: {event}"
        + (f" ({subject})" if subject else "")
        for (event, subject), number in sorted(counts.items())
    ]
