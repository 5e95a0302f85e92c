"""Statements about the log itself: what came back, boots, clock; and the facts that they rest on."""

from collections import Counter
from dataclasses import asdict, dataclass, field

import numpy as np

from ground.statements import log_clock, log_gaps, log_samples
from ground.statements.log_gaps import find_gaps
from ground.statements.counts import counted, times
from ground.statements.quantity import Quantity
from ground.statements.shared import at_text
from ground.statements.statement import evidence, missing, statement, utc_text

__all__ = ["BootFacts", "LogFacts", "find_gaps", "log_facts", "statements"]

_RESETS = [["boot", "1"], ["since launch", "s"], ["height", "m"], ["reset cause", "1"]]


@dataclass
class BootFacts:
    """One boot, as far as its tables do not say it. Names end in the unit; None: not known."""

    boot: int
    first_tick_ms: int | None
    last_tick_ms: int | None
    first_utc: str | None
    last_utc: str | None
    clock_drift_ppm: float | None
    clock_drift_uncertainty_ppm: float | None  # one standard deviation
    clock_fixes_used: int
    clock_fixes_rejected: int
    envelopes_found: int
    envelopes_expected: int
    envelopes_rebuilt: int
    envelopes_repaired: int
    unreadable_records: int
    firmware: str | None
    configuration: str | None
    manifest_borrowed: bool
    sensors: dict | None  # role -> [chip, *words]
    rates: dict | None = None  # kind -> ms between its records, as the manifest says
    clock_pieces: list = field(default_factory=list)  # [first tick, last tick, drift in ppm, its deviation]
    clock_uncertainty_ms: float | None = None  # the largest of any record's UTC, one standard deviation
    packets_found: int = 0  # how many of the envelopes are packets, where a capture was recovered with a card
    packets_expected: int = 0


@dataclass
class LogFacts:
    """What is known of a flight's log: boots, numbers of records by kind, and the losses of the ledger."""

    flight: str
    payload: str
    boots: list
    records: dict
    losses: list = field(default_factory=list)  # dicts as in ledger.json

    def boots_as_dicts(self):
        """The boots, ready for JSON."""
        return [asdict(boot) for boot in self.boots]


def log_facts(flight, ledger=None) -> LogFacts:
    """Gather the facts about a Flight that was just decoded.

    ledger: Ledger of its recovery, or None.
    """
    totals = Counter()
    for log in flight.boots:
        totals.update({kind: len(records.tick_ms) for kind, records in log.records.items()})
    losses = [loss for loss in ledger.to_json()["losses"] if loss["flight"] == flight.flight] if ledger else []
    boots = [_boot(log, flight.clocks[log.boot]) for log in flight.boots]
    return LogFacts(flight.flight, flight.payload, boots, dict(sorted(totals.items())), losses)


def _boot(log, clock):
    ticks = [records.tick_ms for records in log.records.values() if len(records.tick_ms)]
    span = (min(int(t.min()) for t in ticks), max(int(t.max()) for t in ticks)) if ticks else None
    sensors = None
    if log.manifest:
        sensors = {role: [chip, *words] for role, (chip, words) in log.manifest.sensors.items()}
    return BootFacts(
        boot=log.boot,
        first_tick_ms=span[0] if span else None,
        last_tick_ms=span[1] if span else None,
        first_utc=utc_text(clock.utc_of(span[0])) if clock and span else None,
        last_utc=utc_text(clock.utc_of(span[1])) if clock and span else None,
        clock_drift_ppm=clock.drift_ppm if clock else None,
        clock_drift_uncertainty_ppm=clock.drift_uncertainty_ppm if clock else None,
        clock_fixes_used=clock.fixes_used if clock else 0,
        clock_fixes_rejected=clock.fixes_rejected if clock else 0,
        envelopes_found=log.envelopes_found,
        envelopes_expected=log.envelopes_expected,
        envelopes_rebuilt=log.envelopes_rebuilt,
        envelopes_repaired=log.envelopes_repaired,
        packets_found=log.packets_found,
        packets_expected=log.packets_expected,
        unreadable_records=log.unreadable_records,
        firmware=log.manifest.firmware if log.manifest else None,
        configuration=log.manifest.configuration if log.manifest else None,
        manifest_borrowed=log.manifest_borrowed,
        sensors=sensors,
        rates=dict(log.manifest.rates) if log.manifest else None,
        clock_pieces=[[round(number, 6) for number in piece] for piece in clock.pieces] if clock else [],
        clock_uncertainty_ms=_clock_uncertainty_ms(clock, span),
    )


def _clock_uncertainty_ms(clock, span):
    if clock is None or span is None:
        return None
    return round(float(clock.uncertainty_ms(np.linspace(*span, 1000)).max()), 3)


def statements(case):
    """Give data_recovered, data_gaps, sensors_logged, boots, resets_in_flight, clock_drift, clock_error."""
    return {
        "data_recovered": _recovered(case.log),
        "data_gaps": log_gaps.longest_gap(case),
        "sensors_logged": log_samples.sensors_logged(case),
        "boots": statement(
            "Boots", f"The log holds {counted(len(case.log.boots), 'start of the board', 'starts of the board')}.",
            value=len(case.log.boots), unit="1",
            evidence=[evidence("value", "boot numbers", "boots of this flight with any record")],
        ),
        "resets_in_flight": _resets(case),
        "clock_drift": log_clock.drift(case.log),
        "clock_error": log_clock.error(case.log),
    }  # fmt: skip


def _recovered(log):
    found = sum(boot.envelopes_found for boot in log.boots)
    expected = sum(boot.envelopes_expected for boot in log.boots)
    if not expected:
        return missing("Data recovered", "percent", "no block or packet was expected")
    heard, sent = (sum(getattr(boot, part) for boot in log.boots) for part in ("packets_found", "packets_expected"))
    link = []
    if 0 < sent < expected:  # the card has it all; what the link did not bring is not lost with it
        found, expected = found - heard, expected - sent
        link = [evidence("link", "numbers of packets", f"{heard} heard of those sent, not counted here", sent)]
    rests_on = [evidence("value", "numbers of blocks or packets", "found of expected", expected)]
    for what, part, method in (
        ("rebuilt", "envelopes_rebuilt", "from parity, proven by the CRC-32"),
        ("repaired", "envelopes_repaired", "a few bits turned over, by the CRC-32"),
    ):
        count = sum(getattr(boot, part) for boot in log.boots)
        if count:
            rests_on.append(evidence(what, "blocks", method, count))
    rests_on += link
    text = "{share} of what the board wrote came back."
    if found == expected:
        text = "All that the board wrote came back."
    value = 100.0 * found / expected
    share = Quantity(np.floor(10.0 * value) / 10.0, "percent", 1)  # 99.97 % is not all
    return statement("Data recovered", text, value=value, unit="percent", says={"share": share}, evidence=rests_on)


def _resets(case):
    moments = case.moments
    if moments is None or moments.launch.boot is None:
        return missing("Resets in flight", "1", "no launch in the data")
    # Boots of a flight are numbered one by one, so those that left no record count too.
    last = max((boot.boot for boot in case.log.boots), default=moments.launch.boot)
    last = max(moments.landing.boot or last, moments.launch.boot)
    ends = "landing" if moments.landing.boot else "the end of the log"
    numbers = [evidence("value", "boot numbers", "from the launch to the landing or the last record")]
    count = last - moments.launch.boot
    rows = [_began(case, boot) for boot in range(moments.launch.boot + 1, last + 1)]
    when = [at_text(case, row[1]) for row in rows if row[1] is not None]
    for row in rows:
        row[1] = None if row[1] is None else round(float(case.since_launch_s(row[1])), 1)
    text = f"The board began anew {times(count)} between launch and {ends}" + (": {when}." if when else ".")
    if count == 0:
        text = f"The board ran without a reset from launch to {ends}."
    return statement(
        "Resets in flight", text, value=count, unit="1", evidence=numbers,
        says={"when": ", ".join(when[:8]) + (" and more" if len(when) > 8 else "")},
        table={"columns": _RESETS, "rows": rows},
        **case.span(case.window.start_s, case.window.end_s),
    )  # fmt: skip


def _began(case, boot):
    """[boot, time on the axis, height, reset cause] of a boot's beginning; None where it is not known."""
    began_s = None
    for table in case.timeline.tables.values():
        rows = np.flatnonzero(table.columns["boot"] == boot)
        time_s, known = log_gaps.axis_times(case.timeline, table)
        rows = rows[known[rows]]
        if len(rows):
            first = rows[np.argmin(table.columns["tick_ms"][rows])]
            start_s = float(time_s[first]) - float(table.columns["tick_ms"][first]) / 1000.0
            began_s = start_s if began_s is None else min(began_s, start_s)
    height_m = None if began_s is None else case.heights.at(began_s, 120.0)[0]
    health = case.timeline.tables.get("health")
    cause = None
    if health is not None and "reset_cause" in health.columns:
        causes = health.columns["reset_cause"][health.columns["boot"] == boot]
        cause = next((int(value) for value in causes if np.isfinite(value)), None)
    return [boot, began_s, None if height_m is None else round(height_m, 1), cause]
