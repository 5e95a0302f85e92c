"""The summary of a flight: statements with their evidence, and what is known about the log itself."""

from collections import Counter

from ground.analyse import extremes
from ground.analyse.events import event_notes
from ground.analyse.heights import build_heights, valid_fixes
from ground.analyse.moments import find_moments
from ground.analyse.phases import find_phases
from ground.analyse.places import place_at, position_fixes
from ground.analyse.series import timelines
from ground.analyse.statements import evidence, of_extreme, of_moment, statement, utc_text
from ground.analyse.words import summary_text
from ground.physics.geodesy import azimuth_deg, distance_m


class Summary(dict):
    """A summary as plain dicts, lists, text and numbers, for JSON.

    Keys: flight, payload, statements (dict key -> statement, see ground.analyse.statements), records
    (kind -> number), boots (list), notes (list of lines). The attribute `moments` holds the Moments.
    """

    moments = None

    def text(self, evidence=False):
        """Write the summary in plain English, at most 80 columns wide.

        evidence: add under each statement what it rests on.
        """
        return summary_text(self, evidence)


def summarise(flight, recovered) -> Summary:
    """Say what the data of a flight can say.

    flight: Flight. recovered: the Recovered that it is from; its ledger's notes are passed on.
    Returns a Summary; a statement that the data cannot answer has no value but a reason.
    """
    timeline, heights, phases, notes = _best_timeline(flight)
    moments = find_moments(timeline, heights, phases) if timeline else None
    summary = Summary(
        flight=flight.flight,
        payload=flight.payload,
        statements=_log_statements(flight, moments),
        records=_record_counts(flight),
        boots=[_boot(flight, log) for log in flight.boots],
        notes=[
            *notes,
            *flight.notes,
            *event_notes(flight.tables.get("event")),
            *(recovered.ledger.notes if recovered.ledger else ()),
        ],
    )
    if timeline:
        about = _flight_statements(timeline, heights, phases, moments)
        summary["statements"] = {**about, **summary["statements"]}
    summary.moments = moments
    return summary


def _best_timeline(flight):
    """The axis of time on which the flight reaches highest; the first of equals, so UTC if it can be."""
    best = None
    for timeline in timelines(flight):
        heights = build_heights(timeline)
        if best is None or heights.span_m() > best[1].span_m() + 1.0:
            best = (timeline, heights)
    if best is None:
        return None, None, None, ["the log holds no records"]
    timeline, heights = best
    notes = list(heights.notes)
    if timeline.origin_ms is None:
        notes.append(f"the flight is told by boot {timeline.boot} alone, in seconds since it began")
    return timeline, heights, find_phases(heights.combined), notes


def _flight_statements(timeline, heights, phases, moments):
    window = _window(heights, phases, moments)
    launch, landing = moments.launch, moments.landing

    def extreme(title, unit, found, climb=False):
        return of_extreme(title, unit, found, timeline, climb)

    return {
        "launch": of_moment("Launch", launch),
        "burst": of_moment("Burst", moments.burst),
        "landing": of_moment("Landing", landing),
        "last_fix": _last_fix(timeline),
        "greatest_height": extreme(
            "Greatest height", "m", extremes.greatest_height(heights, window, moments.burst)
        ),
        "climb_rate": extreme(
            "Mean climb rate", "m/s", extremes.climb_rate(heights, window, launch, moments.burst), climb=True
        ),
        "coldest_air": extreme("Coldest air", "degC", extremes.coldest_air(timeline, heights, window)),
        "greatest_ground_speed": extreme(
            "Top ground speed", "m/s", extremes.greatest_ground_speed(timeline, heights, window)
        ),
        "greatest_fall_speed": extreme(
            "Top fall speed", "m/s", extremes.greatest_fall_speed(timeline, heights, window, moments.burst)
        ),
        "duration": _duration(launch, landing),
        "distance": _distance(launch, landing, distance_m, "Distance", "km", 0.001),
        "bearing": _distance(launch, landing, azimuth_deg, "Bearing", "deg", 1.0),
    }


def _window(heights, phases, moments):
    times = heights.combined.time_s
    first, last = (float(times[0]), float(times[-1])) if len(times) else (float("-inf"), float("inf"))

    def known(*choices):
        return next(time_s for time_s in choices if time_s is not None)

    return extremes.Window(
        known(moments.launch.time_s, phases.climb_s, first),
        known(moments.burst.time_s, phases.top_s, first),
        known(moments.landing.time_s, phases.rest_s, last),
    )


def _last_fix(timeline):
    fixes = position_fixes(timeline)
    if len(fixes) == 0:
        return statement("Last fix", reason="no fix in the data", place_reason="no fix in the data")
    index = len(fixes) - 1
    time_s = float(fixes.time_s[index])
    place = place_at(fixes, time_s)
    heights = valid_fixes(timeline, ("height_m",))
    height_m = None
    if len(heights) and heights.time_s[-1] == time_s:
        height_m = float(heights["height_m"][-1])
    source = "fix.latitude_deg, fix.longitude_deg"
    return statement(
        "Last fix", height_m, "m", utc=utc_text(timeline.utc(time_s)), boot=int(fixes.boot[index]),
        tick_ms=int(fixes.tick_ms[index]), height_m=height_m, latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        evidence=[evidence("place", source, "the last one that fits its neighbours", 1)],
    )  # fmt: skip


def _duration(launch, landing):
    lacks = [moment.name for moment in (launch, landing) if moment.time_s is None]
    if lacks:
        return statement("Flight time", unit="s", reason=f"no time of the {' and the '.join(lacks)}")
    return statement(
        "Flight time", landing.time_s - launch.time_s, "s",
        uncertainty=(launch.uncertainty_s**2 + landing.uncertainty_s**2) ** 0.5,
        evidence=[evidence("value", f"{launch.source}; {landing.source}", "landing minus launch")],
    )  # fmt: skip


def _distance(launch, landing, geodesic, title, unit, factor):
    lacks = [moment.name for moment in (launch, landing) if moment.latitude_deg is None]
    if lacks:
        return statement(title, unit=unit, reason=f"no place of the {' and the '.join(lacks)}")
    value = geodesic(launch.latitude_deg, launch.longitude_deg, landing.latitude_deg, landing.longitude_deg)
    method = "geodesic on WGS 84 from launch to landing"
    return statement(
        title, float(value) * factor, unit, evidence=[evidence("value", landing.place_source, method)]
    )


def _record_counts(flight):
    totals = Counter()
    for log in flight.boots:
        totals.update({kind: len(records.tick_ms) for kind, records in log.records.items()})
    return dict(sorted(totals.items()))


def _log_statements(flight, moments):
    found = sum(log.envelopes_found for log in flight.boots)
    expected = sum(log.envelopes_expected for log in flight.boots)
    recovered = statement("Data recovered", unit="percent", reason="no block or packet was expected")
    if expected:
        rests_on = [evidence("value", "numbers of blocks or packets", "found of expected", expected)]
        for what, part, method in (
            ("rebuilt", "envelopes_rebuilt", "from parity, proven by the CRC-32"),
            ("repaired", "envelopes_repaired", "a few bits turned over, by the CRC-32"),
        ):
            count = sum(getattr(log, part) for log in flight.boots)
            if count:
                rests_on.append(evidence(what, "blocks", method, count))
        recovered = statement("Data recovered", 100.0 * found / expected, "percent", evidence=rests_on)
    resets = None
    if moments and moments.launch.boot is not None:
        # Boots of a flight are numbered one by one, so those that left no record count too.
        last = moments.landing.boot or max(log.boot for log in flight.boots)
        resets = last - moments.launch.boot
    counted = [evidence("value", "boot numbers", "from the launch to the landing or the last record")]
    return {
        "data_recovered": recovered,
        "boots": statement("Boots", len(flight.boots), "1", evidence=[evidence("value", "boot numbers")]),
        "resets_in_flight": statement(
            "Resets in flight",
            resets,
            "1",
            reason="no launch in the data" if resets is None else None,
            evidence=counted,
        ),
        "clock_drift": _drift(flight),
    }


def _drift(flight):
    clocks = [(boot, clock) for boot, clock in flight.clocks.items() if clock and clock.drift_ppm is not None]
    if not clocks:
        return statement("Clock drift", unit="ppm", reason="too few fixes, or over too short a time, to tell")
    boot, clock = max(clocks, key=lambda item: item[1].fixes_used)
    method = "straight line of UTC over ticks, median of slopes, then least squares"
    rests_on = [evidence("value", "fix.gnss_utc", method, clock.fixes_used)]
    return statement(
        "Clock drift",
        clock.drift_ppm,
        "ppm",
        boot=boot,
        uncertainty=clock.drift_uncertainty_ppm,
        evidence=rests_on,
    )


def _boot(flight, log):
    clock = flight.clocks[log.boot]
    ticks = [records.tick_ms for records in log.records.values() if len(records.tick_ms)]
    span = (min(int(t.min()) for t in ticks), max(int(t.max()) for t in ticks)) if ticks else None
    return {
        "boot": log.boot,
        "first_tick_ms": span[0] if span else None,
        "last_tick_ms": span[1] if span else None,
        "first_utc": utc_text(clock.utc_of(span[0])) if clock and span else None,
        "last_utc": utc_text(clock.utc_of(span[1])) if clock and span else None,
        "clock_drift_ppm": clock.drift_ppm if clock else None,
        "clock_fixes_used": clock.fixes_used if clock else 0,
        "clock_fixes_rejected": clock.fixes_rejected if clock else 0,
        "envelopes_found": log.envelopes_found,
        "envelopes_expected": log.envelopes_expected,
        "envelopes_rebuilt": log.envelopes_rebuilt,
        "envelopes_repaired": log.envelopes_repaired,
        "unreadable_records": log.unreadable_records,
        "firmware": log.manifest.firmware if log.manifest else None,
        "configuration": log.manifest.configuration if log.manifest else None,
        "manifest_borrowed": log.manifest_borrowed,
        "sensors": {role: [chip, *words] for role, (chip, words) in log.manifest.sensors.items()}
        if log.manifest else None,
    }  # fmt: skip
