"""Gaps in a flight's data: for statements, and for the picture of the data's quality."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.phases import LEAST_CLIMB_M
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, missing, statement

NOT_REGULAR = ("event", "text", "beacon", "manifest")  # kinds that are written when something happens
LEAST_GAP_S = 2.0  # a block is closed at the latest so long after its first record (protocol/FORMAT.md)
PERIODS = 3.0
FEW = 10  # records show no usual interval
_GAPS = [
    ["kind", "1"], ["period", "s"], ["gaps", "1"], ["longest", "s"], ["all together", "s"], ["longest begins", "s"],
    ["before landing", "s"], ["height", "m"],
]  # fmt: skip
NO_FLIGHT = "the data hold no flight"


@dataclass(frozen=True)
class Gap:
    """kind: of record, or 'all'. start_s, end_s: since launch. height_m: at its beginning, None if not known."""

    kind: str
    start_s: float
    end_s: float
    height_m: float | None

    @property
    def length_s(self):
        """How long it was."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Lost:
    """Blocks or packets that are lost. start_s, end_s: since launch, between the neighbours that were found; None
    where there is none or its time is not known. count: how many; envelope: 'block' or 'packet'.
    """

    start_s: float | None
    end_s: float | None
    count: int
    envelope: str
    reason: str


@dataclass(frozen=True)
class LogGaps:
    """gaps: list of Gap within the flight, in order; periods_s: kind -> usual interval; lost: list of Lost, of the
    whole log; reason: why there are no gaps to tell, or None.
    """

    gaps: list
    periods_s: dict
    lost: list
    reason: str | None = None


def find_gaps(case) -> LogGaps:
    """Find the gaps of each kind of record within the flight, and the losses, for case.once."""
    if case.timeline is None:
        return LogGaps([], {}, [], "the log holds no records")
    lost = [_lost(case, loss) for loss in case.log.losses]
    window = case.window
    length_s = window.end_s - window.start_s
    if case.heights.span_m() < LEAST_CLIMB_M or not np.isfinite(length_s) or length_s <= 0:
        return LogGaps([], {}, lost, NO_FLIGHT)
    gaps, periods_s, every = [], {}, [np.zeros(0)]
    for kind, table in case.timeline.tables.items():
        time_s, known = axis_times(case.timeline, table)
        time_s = np.sort(time_s[known])
        every.append(time_s)
        period_s = _period_s(case.log, kind, time_s)
        if kind not in NOT_REGULAR and period_s is not None:
            periods_s[kind] = period_s
            gaps += _gaps_of(case, kind, time_s, max(PERIODS * period_s, LEAST_GAP_S))
    gaps += _gaps_of(case, "all", np.sort(np.concatenate(every)), LEAST_GAP_S)
    return LogGaps(sorted(gaps, key=lambda gap: (gap.start_s, gap.kind)), periods_s, lost)


def axis_times(timeline, table):
    """(times on the axis, where they are known) of all rows of a Table."""
    columns = table.columns
    if timeline.origin_ms is None:
        return columns["tick_ms"] / 1000.0, columns["boot"] == timeline.boot
    known = ~np.isnat(columns["utc"])
    return np.where(known, columns["utc"].astype(np.int64) - timeline.origin_ms, 0) / 1000.0, known


def _period_s(log, kind, time_s):
    rate_ms = next((boot.rates[kind] for boot in log.boots if boot.rates and boot.rates.get(kind)), None)
    if rate_ms:
        return rate_ms / 1000.0
    return max(float(np.median(np.diff(time_s))), 1e-3) if len(time_s) >= FEW else None


def _gaps_of(case, kind, time_s, longest_s):
    window = case.window
    inside = time_s[(time_s > window.start_s) & (time_s < window.end_s)]
    marks = np.concatenate([[window.start_s], inside, [window.end_s]])
    for i in np.flatnonzero(np.diff(marks) > longest_s).tolist():
        height_m = case.heights.at(float(marks[i]))[0]
        start_s, end_s = (float(case.since_launch_s(marks[k])) for k in (i, i + 1))
        yield Gap(kind, start_s, end_s, height_m)


def _lost(case, loss):
    ends = [_tick_time_s(case, loss["boot"], loss[name]) for name in ("tick_before_ms", "tick_after_ms")]
    ends = [None if time_s is None else float(case.since_launch_s(time_s)) for time_s in ends]
    return Lost(*ends, loss["last_number"] - loss["first_number"] + 1, loss["envelope"], loss["reason"])


def _tick_time_s(case, boot, tick_ms):
    """The time on the axis of a tick of a boot, by the records of that boot; None if they do not tell."""
    if tick_ms is None:
        return None
    best = None
    for table in case.timeline.tables.values():
        time_s, known = axis_times(case.timeline, table)
        rows = np.flatnonzero(known & (table.columns["boot"] == boot))
        if len(rows):
            away = np.abs(table.columns["tick_ms"][rows] - tick_ms)
            near = rows[np.argmin(away)]
            if best is None or away.min() < best[0]:
                after_ms = tick_ms - float(table.columns["tick_ms"][near])
                best = (away.min(), float(time_s[near]) + after_ms / 1000.0)
    return None if best is None else best[1]


def longest_gap(case):
    """Make data_gaps: the longest time in flight without any record; its table has each kind's gaps."""
    found = case.once(find_gaps)
    title = "Longest gap in the data"
    if found.reason:
        return missing(title, "s", found.reason)
    end_s = float(case.since_launch_s(case.window.end_s))
    rows = []
    for kind, period_s in found.periods_s.items():
        gaps = [gap for gap in found.gaps if gap.kind == kind]
        total_s = round(sum(gap.length_s for gap in gaps), 1)
        row = [kind, round(period_s, 3), len(gaps), 0.0, total_s, None, None, None]
        if gaps:
            longest = max(gaps, key=lambda gap: gap.length_s)
            row[3], row[5] = round(longest.length_s, 1), round(longest.start_s, 1)
            row[6] = round(end_s - longest.start_s, 1)
            row[7] = None if longest.height_m is None else round(longest.height_m, 1)
        rows.append(row)
    gaps = [gap for gap in found.gaps if gap.kind == "all"]
    longest = max(gaps, key=lambda gap: gap.length_s, default=None)
    with_gaps = sum(row[2] > 0 for row in rows)
    says = {}
    text = "The longest time in flight without any data was {value}"
    if longest is None:
        text = "There was no time in flight without any data"
    elif longest.height_m is not None:
        text += ", at {height}"
        says["height"] = Quantity(longest.height_m, "m")
    losses = sum(item.count for item in found.lost if item.envelope == "block")
    return statement(
        title, text + _kinds_text(with_gaps, len(rows)), unit="s", says=says,
        value=0.0 if longest is None else longest.length_s, uncertainty=LEAST_GAP_S / 2.0,
        height_m=None if longest is None else longest.height_m,
        evidence=[evidence("value", "all tables", "widest interval between records in flight", len(gaps)),
                  evidence("lost", "ledger", "blocks that are lost in the whole log", losses)],
        table={"columns": _GAPS, "rows": rows}, **case.span(case.window.start_s, case.window.end_s),
    )  # fmt: skip


def _kinds_text(with_gaps, kinds):
    if with_gaps == 0:
        return ", and no kind of record has a gap."
    if with_gaps == kinds:
        return "; every kind of record has gaps."
    return f"; {with_gaps} of {kinds} kinds of record have gaps."
