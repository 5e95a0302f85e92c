"""Statements about other devices that told positions: how high they worked, and whether they agree."""

import numpy as np

from ground.statements.position_sources import NO_UTC, RULE, find_coverage, known
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, missing, statement

NO_TRACKER = "no positions of another device were given; give their CSV or GPX file as a tracker"
_TRACKERS = [
    ["tracker", "1"], ["reports in flight", "1"], ["usual interval", "s"], ["covers", "percent"], ["up to", "m"],
    ["again from", "m"], ["greatest height", "m"], ["longest silence", "s"], ["silent from", "m"], ["until", "m"],
    ["first report", "s"], ["last report", "s"],
]  # fmt: skip
_AGREEMENTS = [
    ["tracker", "1"], ["shared reports", "1"], ["median distance", "m"], ["95 % within", "m"],
    ["median height difference", "m"], ["95 % of heights within", "m"],
]  # fmt: skip


def coverage_of(case):
    """Make tracker_coverage."""
    found = case.once(find_coverage)
    trackers = [source for source in found.sources if source.kind == "tracker"]
    title = "Tracker coverage"
    reason = found.reason or (NO_TRACKER if not case.tracks else None if trackers else NO_UTC)
    if reason is None and not any(source.in_flight for source in trackers):
        reason = "no tracker's report falls into the flight; look at its date and time zone"
    if reason:
        return missing(title, "m", reason)
    heard = [source for source in trackers if source.in_flight]
    best = max(heard, key=lambda source: np.nan_to_num(source.top_m, nan=-1e9))
    parts, says = [], {}
    for i, source in enumerate(trackers):
        says[f"n{i}"] = f'{"The" if i == 0 else "the"} tracker "{source.name}"'
        says |= {f"up{i}": Quantity(source.up_to_m, "m"), f"down{i}": Quantity(source.down_from_m, "m")}
        parts.append(_heard(i, source))
    caveats = [f"{source.name}: {note}" for source in trackers for note in source.notes]
    return statement(
        title, "; ".join(parts) + ".", value=known(best.top_m), unit="m", says=says, caveats=caveats,
        confidence="high", uncertainty=_height_spread(case, best),
        reason=None if np.isfinite(best.top_m) else "no height is known at the time of any report",
        evidence=[evidence("value", f"tracker {source.name}", RULE, source.in_flight) for source in trackers],
        table={"columns": _TRACKERS, "rows": [_row(case, source) for source in trackers if len(source.report_s)]},
        **case.span(found.start_s, found.end_s),
    )  # fmt: skip


def _heard(i, source):
    if not source.in_flight:
        return f"{{n{i}}} was not heard in flight"
    up, down = np.isfinite(source.up_to_m), np.isfinite(source.down_from_m)
    if up and down:
        return f"{{n{i}}} worked up to {{up{i}}} on the way up and again from {{down{i}}} on the way down"
    if up:
        return f"{{n{i}}} worked up to {{up{i}}} on the way up and was not heard on the way down"
    where = f"only on the way down, from {{down{i}}}" if down else "at an unknown height"
    return f"{{n{i}}} was heard {where}"


def _height_spread(case, source):
    """Of the greatest height: where fixes reach it the scatter of heights and 1 s of fall; else what air pressure
    without fixes leaves open.
    """
    gnss = case.heights.gnss["height_m"]
    return 50.0 if len(gnss) and gnss.max() >= source.top_m - 500.0 else max(50.0, 0.02 * source.top_m)


def _row(case, source):
    silence = source.silence
    ends = [known(float(case.since_launch_s(source.report_s[i]))) for i in (0, -1)]
    return [
        source.name, source.in_flight, known(source.period_s), round(100.0 * source.share, 1),
        known(source.up_to_m), known(source.down_from_m), known(source.top_m), round(silence.length_s, 1),
        known(silence.from_m), known(silence.to_m), *ends,
    ]  # fmt: skip

ANOTHER_FLIGHT_M = 20_000.0  # no device on one payload is so far from another


def agreement_of(case):
    """Make position_agreement."""
    found = case.once(find_coverage)
    title = "Agreement of positions"
    together = [source for source in found.sources if source.agreement]
    no_utc = NO_UTC if case.timeline.origin_ms is None else None
    reason = found.reason or (no_utc if case.tracks else NO_TRACKER)
    if reason is None and not together:
        reason = "own receiver and trackers have too few reports of the same time in flight"
    if reason:
        return missing(title, "m", reason)
    best = max(together, key=lambda source: source.agreement.samples)
    agreed = best.agreement
    text = "Half of the time the tracker {name} and the logger's own receiver agree to {value}, and nearly always to {most}."
    if agreed.median_m > ANOTHER_FLIGHT_M:
        text = "The tracker {name} was {value} away from the logger's own receiver, half of the time: its file is of another flight."
    rows = [
        [source.name, pair.samples, *map(known, (pair.median_m, pair.most_m, pair.up_m, pair.up_most_m))]
        for source in together for pair in (source.agreement,)
    ]  # fmt: skip
    return statement(
        title, text, value=agreed.median_m, unit="m", decimals=1,
        says={"name": f'"{best.name}"', "most": Quantity(agreed.most_m, "m", 1)},
        uncertainty=max(2.0 * (agreed.most_m - agreed.median_m) / np.sqrt(agreed.samples), 1.0),
        evidence=[evidence("value", f"tracker {best.name}; fix.latitude_deg, fix.longitude_deg",
                           "geodesic between positions of the same time, median", agreed.samples)],
        caveats=[note for note in best.notes if "put right" in note], table={"columns": _AGREEMENTS, "rows": rows},
        **case.span(found.start_s, found.end_s),
    )  # fmt: skip
