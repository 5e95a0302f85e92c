"""Statements about positions: which source worked where, when silence was usual, and whether the sources agree."""

import numpy as np

from ground.analyse import coverage
from ground.analyse.silences import explain
from ground.statements import position_trackers as trackers
from ground.statements.log_gaps import find_gaps
from ground.statements.position_sources import RULE, find_coverage, known
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, missing, statement, utc_text

__all__ = ["find_coverage", "statements"]

NO_LINK = "no packets were heard over the link, or no capture was recovered together with the card"
_BANDS = [["bottom", "m"], ["top", "m"], ["way up", "percent"], ["way down", "percent"], ["reports", "1"]]
LONG_S = 60.0  # a shorter silence is not worth a word
_WHY = {
    "no fix": "the receiver was there but saw too few satellites",
    "no answer": "the receiver said nothing",
    "no records": "the log has a gap there",
}


def statements(case):
    """Give gnss_coverage, downlink_coverage, tracker_coverage, silence_expected, position_agreement."""
    return {
        "gnss_coverage": _of_kind(case, "gnss", "GNSS coverage", "no fix with a position in the data"),
        "downlink_coverage": _of_kind(case, "downlink", "Downlink coverage", NO_LINK),
        "tracker_coverage": trackers.coverage_of(case),
        "silence_expected": _expected(case),
        "position_agreement": trackers.agreement_of(case),
    }


def _of_kind(case, kind, title, otherwise):
    found = case.once(find_coverage)
    source = next((source for source in found.sources if source.kind == kind), None)
    if found.reason or source is None or source.in_flight == 0:
        return missing(title, "percent", found.reason or otherwise)
    silence, gap_s = source.silence, coverage.PERIODS * source.period_s
    who = "The logger's own GNSS receiver gave positions" if kind == "gnss" else "The ground heard the downlink"
    high = "" if known(source.top_m) is None else ", as high as {top}"
    text, says = f"{who} for {{value}} of the flight{high}.", {"top": Quantity(source.top_m, "m")}
    if silence.length_s > gap_s:
        text = text[:-1] + "; the longest silence took {long} and began at {at}."
        says |= {"long": minutes_text(silence.length_s), "at": _where(case, silence)}
    caveats = list(source.notes)
    if kind == "gnss" and silence.length_s > gap_s:
        caveats.append(f"in the longest silence {_WHY[source.why]}")
    hidden_s = _hidden_s(case, found, source) if kind == "gnss" else 0.0
    if hidden_s > LONG_S:
        told = minutes_text(hidden_s)
        caveats.append(f"gaps of the log hide what the receiver did in {told}; it may have given positions then")
    column = "fix.latitude_deg, fix.longitude_deg" if kind == "gnss" else "beacon.tick_ms"
    rows = [
        [row["bottom_m"], row["top_m"], row["up_percent"], row["down_percent"], row["reports"]]
        for row in found.rows if row["source"] == source.name
    ]  # fmt: skip
    return statement(
        title, text, value=100.0 * source.share, unit="percent", decimals=1, says=says, caveats=caveats,
        uncertainty=_spread(case, found, source, hidden_s),
        evidence=[evidence("value", column, RULE, source.in_flight)],
        table={"columns": _BANDS, "rows": rows}, confidence="high",
        utc=utc_text(case.timeline.utc(silence.start_s)), height_m=known(source.top_m),
        **case.span(found.start_s, found.end_s),
    )  # fmt: skip


def _hidden_s(case, found, source):
    """How long no report covers the flight while the log has no records of any kind: a reset, lost blocks."""
    step_s = max(1.0, (found.end_s - found.start_s) / 100_000.0)
    grid_s = np.arange(found.start_s, found.end_s, step_s)
    since_s, inside = case.since_launch_s(grid_s), np.zeros(len(grid_s), bool)
    for gap in case.once(find_gaps).gaps:
        if gap.kind == "all":
            inside |= (since_s >= gap.start_s) & (since_s <= gap.end_s + source.period_s)
    return float((inside & ~coverage.is_covered(source.report_s, source.period_s, grid_s)).sum()) * step_s


def _spread(case, found, source, hidden_s):
    """Uncertainty of a share, percent: the ends of the flight, up to two intervals at every edge of a silence that
    lasts longer than a report covers, and the time of which the log says nothing.
    """
    ends_s = [moment.uncertainty_s or 5.0 for moment in (case.moments.launch, case.moments.landing)]
    inside = source.report_s[(source.report_s >= found.start_s) & (source.report_s <= found.end_s)]
    silences = int(np.sum(np.diff(inside) > coverage.PERIODS * source.period_s))
    off_s = 2.0 * np.hypot(*ends_s) + np.sqrt(silences + 1.0) * source.period_s + hidden_s
    return 100.0 * float(off_s / (found.end_s - found.start_s))


def minutes_text(seconds):
    """A length of time for a sentence."""
    if seconds < 100.0:
        return f"{seconds:.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 6000.0 else f"{seconds / 3600.0:.1f} h"


def _where(case, silence):
    return case.clock_text(silence.start_s) if np.isnan(silence.from_m) else Quantity(silence.from_m, "m")


def _expected(case):
    found = case.once(find_coverage)
    title = "Silence that was to be expected"
    if found.reason:
        return missing(title, "1", found.reason)
    rows = []
    for source in found.sources:
        silence = source.silence
        long_s = max(coverage.PERIODS * source.period_s, LONG_S)  # NaN if the period is not known
        if source.in_flight and silence.length_s > long_s:
            usual = explain(silence, found.top_s, found.end_s, source.kind, source.why)
            heights = known(silence.from_m), known(silence.to_m)
            rows.append([source.name, round(silence.length_s, 1), *heights, usual])
    text = "Many trackers fall silent far from the ground or above {low} or {high} without being broken; here "
    silent = [source.name for source in found.sources if not source.in_flight]
    if rows:
        text += "{value} of {n} long silences look like that."
    else:
        text += "{silent} gave no position in flight at all." if silent else "none was silent for long."
    says = {"silent": " and ".join(silent), "low": Quantity(12_000.0, "m"), "high": Quantity(18_000.0, "m"), "n": str(len(rows))}
    columns = [["source", "1"], ["silent for", "s"], ["from", "m"], ["until", "m"], ["usual for", "1"]]
    return statement(
        title, text, value=sum(row[4] is not None for row in rows), unit="1", says=says, uncertainty=0.0,
        table={"columns": columns, "rows": [[*row[:4], row[4] or "nothing known"] for row in rows]},
        evidence=[evidence("value", "longest silence of each source", "compared with what is usual", len(rows))],
        **case.span(found.start_s, found.end_s),
    )  # fmt: skip
