"""Statements about the log itself: what came back, boots, clock; and the facts that they rest on."""

from collections import Counter
from dataclasses import asdict, dataclass, field

from ground.statements.statement import evidence, missing, statement, utc_text


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
        unreadable_records=log.unreadable_records,
        firmware=log.manifest.firmware if log.manifest else None,
        configuration=log.manifest.configuration if log.manifest else None,
        manifest_borrowed=log.manifest_borrowed,
        sensors=sensors,
    )


def statements(case):
    """Give data_recovered, boots, resets_in_flight, clock_drift."""
    return {
        "data_recovered": _recovered(case.log),
        "boots": statement(
            "Boots", "The log holds {value} boot(s).", value=len(case.log.boots), unit="1",
            evidence=[evidence("value", "boot numbers", "boots of this flight with any record")],
        ),
        "resets_in_flight": _resets(case),
        "clock_drift": _drift(case.log),
    }  # fmt: skip


def _recovered(log):
    found = sum(boot.envelopes_found for boot in log.boots)
    expected = sum(boot.envelopes_expected for boot in log.boots)
    if not expected:
        return missing("Data recovered", "percent", "no block or packet was expected")
    rests_on = [evidence("value", "numbers of blocks or packets", "found of expected", expected)]
    for what, part, method in (
        ("rebuilt", "envelopes_rebuilt", "from parity, proven by the CRC-32"),
        ("repaired", "envelopes_repaired", "a few bits turned over, by the CRC-32"),
    ):
        count = sum(getattr(boot, part) for boot in log.boots)
        if count:
            rests_on.append(evidence(what, "blocks", method, count))
    text = "{value} of what the board wrote came back."
    value = 100.0 * found / expected
    return statement(
        "Data recovered", text, value=value, unit="percent", decimals=1, uncertainty=0.0, evidence=rests_on
    )


def _resets(case):
    moments = case.moments
    if moments is None or moments.launch.boot is None:
        return missing("Resets in flight", "1", "no launch in the data")
    # Boots of a flight are numbered one by one, so those that left no record count too.
    last = moments.landing.boot or max(boot.boot for boot in case.log.boots)
    counted = [evidence("value", "boot numbers", "from the launch to the landing or the last record")]
    return statement(
        "Resets in flight", "The board began anew {value} time(s) between launch and landing.",
        value=last - moments.launch.boot, unit="1", evidence=counted,
    )  # fmt: skip


def _drift(log):
    boots = [boot for boot in log.boots if boot.clock_drift_ppm is not None]
    if not boots:
        return missing("Clock drift", "ppm", "too few fixes, or over too short a time, to tell")
    boot = max(boots, key=lambda item: item.clock_fixes_used)
    method = "straight line of UTC over ticks, median of slopes, then least squares"
    rests_on = [evidence("value", "fix.gnss_utc", method, boot.clock_fixes_used)]
    way = "fast" if boot.clock_drift_ppm >= 0 else "slow"
    return statement(
        "Clock drift", f"The board's clock ran {abs(boot.clock_drift_ppm):.1f} ppm {way}, give or take {{uncertainty}}.",
        value=boot.clock_drift_ppm, unit="ppm", decimals=1, boot=boot.boot,
        uncertainty=2.0 * boot.clock_drift_uncertainty_ppm, evidence=rests_on,
    )  # fmt: skip
