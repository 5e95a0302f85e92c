"""Statements about the board's clock: how it drifted, and how right UTC is."""

import numpy as np

from ground.decode.clock import DAY_MS, DELAY_MAX_MS, FORMAT_BORN_MS, ROLLOVER_MS
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, missing, statement

METHOD = "straight pieces of UTC over ticks: median of slopes, least absolute deviations, then least squares"
_PIECES = [["boot", "1"], ["from", "s"], ["to", "s"], ["drift", "ppm"], ["uncertainty", "ppm"]]
_BOOTS = [["boot", "1"], ["uncertainty", "s"]]


def drift(log):
    """Make clock_drift: of the boot with the most fixes; its table has every piece of every boot, by its ticks."""
    boots = [boot for boot in log.boots if boot.clock_drift_ppm is not None]
    if not boots:
        return missing("Clock drift", "ppm", "too few fixes, or over too short a time, to tell")
    boot = max(boots, key=lambda item: item.clock_fixes_used)
    rests_on = [evidence("value", "fix.gnss_utc", METHOD, boot.clock_fixes_used)]
    rates = [piece[2] for piece in boot.clock_pieces]
    text = "The board's clock ran {size} {way}, give or take {uncertainty}."
    says = _rate("size", "way", boot.clock_drift_ppm)
    if len(rates) > 1:
        text = (
            "The board's clock ran {size} {way} on average, give or take {uncertainty}; as it got cold and "
            "warm that changed between {low} {low_way} and {high} {high_way}."
        )
        says |= {**_rate("low", "low_way", min(rates)), **_rate("high", "high_way", max(rates))}
    rows = [
        [item.boot, round(first / 1000.0, 1), round(last / 1000.0, 1), round(ppm, 3), round(2.0 * deviation, 3)]
        for item in boots for first, last, ppm, deviation in item.clock_pieces
    ]  # fmt: skip
    return statement(
        "Clock drift", text, value=boot.clock_drift_ppm, unit="ppm", decimals=1, boot=boot.boot, says=says,
        uncertainty=2.0 * boot.clock_drift_uncertainty_ppm, evidence=rests_on,
        table={"columns": _PIECES, "rows": rows} if rows else None, confidence="high",
    )  # fmt: skip


def _rate(size, way, ppm):
    return {size: Quantity(abs(ppm), "ppm", 1), way: "fast" if ppm >= 0 else "slow"}


def error(log):
    """Make clock_error: a bound for how far UTC is off, the receiver's delay included."""
    boots = [boot for boot in log.boots if boot.clock_uncertainty_ms is not None]
    if not boots:
        reason = "no fix set the board's clock, or the flight was recovered by an older version"
        return missing("Error of UTC", "s", reason)
    worst_ms = max(boot.clock_uncertainty_ms for boot in boots)
    caveats = []
    if any(boot.first_utc and _is_before_the_format(boot.first_utc) for boot in boots):
        days = ROLLOVER_MS // DAY_MS
        caveats.append(f"the receiver's date is wrong, perhaps by {days} days; the time of day is not")
    unset = [str(boot.boot) for boot in log.boots if boot.first_utc is None]
    if unset:
        caveats.append(f"without any fix, so without UTC: boot {', '.join(unset)}")
    rows = [[boot.boot, round(2e-3 * boot.clock_uncertainty_ms, 4)] for boot in boots]
    return statement(
        "Error of UTC",
        "Times in UTC are right to {value}; up to {delay} of that they are early, by the receiver's own delay.",
        value=(DELAY_MAX_MS + 2.0 * worst_ms) / 1000.0, unit="s", decimals=2, caveats=caveats,
        says={"delay": Quantity(DELAY_MAX_MS / 1000.0, "s", 1)},
        evidence=[evidence("value", "fix.gnss_utc", METHOD, sum(boot.clock_fixes_used for boot in boots))],
        table={"columns": _BOOTS, "rows": rows},
    )  # fmt: skip


def _is_before_the_format(utc):
    return np.datetime64(utc.removesuffix("Z"), "ms").astype(np.int64) < FORMAT_BORN_MS
