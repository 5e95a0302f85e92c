"""The sources of positions of a flight, on its axis of time: own receiver, downlink, trackers."""

from dataclasses import dataclass

import numpy as np

from ground.analyse import coverage
from ground.analyse.clock_shift import zone_shift_s
from ground.analyse.phases import LEAST_CLIMB_M
from ground.analyse.series import covered

OWN, DOWNLINK = "own receiver", "downlink"
NO_FLIGHT = "the data hold no flight"
NO_UTC = "the board's time is not known as UTC, so that no other device's times can be put beside it"
NO_HEIGHTS = "no heights in the data"
RULE = f"a report covers the {coverage.PERIODS:.0f} usual intervals after it"


@dataclass(frozen=True)
class Source:
    """One source. kind: 'gnss', 'downlink' or 'tracker'. report_s: times on the axis, float array (n,), ascending.
    period_s: NaN if not known. share: of the flight's time that it covers. up, down: shares of the bands, NaN where
    no time was spent; reports: of the bands, and in_flight all. silence: Silence. top_m: greatest height with a
    report; up_to_m: height of the last report of the way up, down_from_m: of the first of the way down; NaN if
    there is none. why: of the longest silence of the own receiver. agreement: with the own receiver, or None.
    notes: lines.
    """

    name: str
    kind: str
    report_s: np.ndarray
    period_s: float
    share: float
    up: np.ndarray
    down: np.ndarray
    reports: np.ndarray
    in_flight: int
    silence: object
    top_m: float
    up_to_m: float
    down_from_m: float
    why: str | None = None
    agreement: object = None
    notes: tuple = ()


@dataclass(frozen=True)
class PositionCoverage:
    """sources: list of Source, the own receiver first. edges_m: of the bands of height, (b + 1,). start_s, top_s,
    end_s: the flight on the axis. rows: tuple of dicts for tables and plots, a band of a source each: bottom_m,
    top_m, source, up_percent, down_percent (None where no time was spent), reports. reason: why there are none.
    """

    sources: list
    edges_m: np.ndarray
    start_s: float = np.nan
    top_s: float = np.nan
    end_s: float = np.nan
    rows: tuple = ()
    reason: str | None = None


def find_coverage(case) -> PositionCoverage:
    """Give what every source of positions covers, for case.once: statements, tables and plots share it."""
    window = case.window
    if case.heights is None or case.heights.span_m() < LEAST_CLIMB_M or window.end_s - window.start_s < 60.0:
        return PositionCoverage([], np.zeros(0), reason=NO_FLIGHT)
    series = case.heights.combined
    grid_s, height_m = coverage.height_grid(series.time_s, series["height_m"], window.start_s, window.end_s)
    if not np.isfinite(height_m).any():
        return PositionCoverage([], np.zeros(0), reason=NO_HEIGHTS)
    frame = (grid_s, height_m, window.top_s, coverage.band_edges_m(height_m))
    sources = [_own(case, frame)]
    link = _downlink(case, frame)
    sources += [link] if link else []
    if case.timeline.origin_ms is not None:
        names = [OWN, DOWNLINK]
        for track in case.tracks:
            sources.append(_tracker(case, track, frame, names))
            names.append(sources[-1].name)
    rows = tuple(row for source in sources for row in _rows(source, frame[3]))
    return PositionCoverage(sources, frame[3], window.start_s, window.top_s, window.end_s, rows)


def _source(name, kind, report_s, period_s, frame, **more):
    grid_s, height_m, top_s, edges_m = frame
    if not np.isfinite(period_s):
        period_s = coverage.usual_interval_s(_inside(report_s, grid_s))
    if not np.isfinite(period_s):
        period_s = coverage.usual_interval_s(report_s)
    up, down, reports = coverage.cover_by_band(report_s, period_s, grid_s, height_m, top_s, edges_m)
    flying_s = _inside(report_s, grid_s)
    at_m = coverage.heights_at(flying_s, grid_s, height_m)
    known = np.isfinite(at_m)
    going_up, going_down = at_m[known & (flying_s <= top_s)], at_m[known & (flying_s > top_s)]
    return Source(
        name, kind, report_s, float(period_s), float(np.mean(coverage.is_covered(report_s, period_s, grid_s))),
        up, down, reports, len(flying_s), coverage.longest_silence(report_s, grid_s, height_m),
        float(at_m[known].max()) if known.any() else np.nan, float(going_up[-1]) if len(going_up) else np.nan,
        float(going_down[0]) if len(going_down) else np.nan, **more,
    )  # fmt: skip


def _inside(report_s, grid_s):
    return report_s[(report_s >= grid_s[0]) & (report_s <= grid_s[-1])]


def _own(case, frame):
    made = _source(OWN, "gnss", case.fixes.time_s, np.nan, frame)
    return Source(**{**vars(made), "why": _why_silent(case, made.silence)})


def _why_silent(case, silence):
    """What the log holds of the longest silence of the own receiver: 'no fix', 'no records' or 'no answer'."""
    def share(kinds):
        marks = np.linspace(silence.start_s, silence.end_s, 101)[1:-1]
        seen = np.zeros(len(marks), bool)
        for kind in kinds:
            times_s = case.timeline.series(kind, (), kind).time_s
            seen |= covered(times_s, marks, 30.0) if len(times_s) else False
        return float(np.mean(seen))

    if share(("fix",)) > 0.5:
        return "no fix"
    return "no answer" if share(("pressure", "air", "motion", "power")) > 0.5 else "no records"


def _downlink(case, frame):
    """Beacons are not on the card: what the table holds was heard over the link."""
    if case.timeline.tables.get("beacon") is None:
        return None
    report_s = np.unique(case.timeline.series("beacon", (), "beacon").time_s)
    if not len(report_s):
        return None
    wanted = getattr(getattr(case.mission, "downlink", None), "period_s", None)
    lost = sum(
        loss["last_number"] - loss["first_number"] + 1 for loss in case.log.losses if loss["envelope"] == "packet"
    )
    notes = (f"{lost} packets are missing between those that were heard",) if lost else ()
    return _source(DOWNLINK, "downlink", report_s, float(wanted or np.nan), frame, notes=notes)


def _tracker(case, track, frame, taken):
    time_s = (track.time_utc.astype(np.int64) - case.timeline.origin_ms) / 1000.0
    own = _own_positions(case, frame[0])
    notes = list(track.notes)
    theirs = (time_s, track.latitude_deg, track.longitude_deg, track.height_m)
    shift_s = zone_shift_s(theirs, own)
    if shift_s:
        way = "ahead of" if shift_s > 0 else "behind"
        hours = f"{abs(shift_s) / 3600:g} h"
        notes.append(f"by its positions its times are {hours} {way} UTC, as in a time zone; they were put right")
        theirs = (time_s - shift_s, *theirs[1:])
    flying = (theirs[0] >= frame[0][0]) & (theirs[0] <= frame[0][-1])
    together = coverage.agreement(tuple(values[flying] for values in theirs), own)
    name, number = track.name, 2
    while name in taken:
        name, number = f"{track.name} {number}", number + 1
    return _source(name, "tracker", theirs[0], np.nan, frame, agreement=together, notes=tuple(notes))


def _own_positions(case, grid_s):
    """(time, latitude, longitude, height) of the own receiver in flight."""
    fixes, gnss = case.fixes.between(grid_s[0], grid_s[-1]), case.heights.gnss
    height = np.full(len(fixes), np.nan)
    if len(gnss) > 1:
        between = np.interp(fixes.time_s, gnss.time_s, gnss["height_m"])
        height = np.where(covered(gnss.time_s, fixes.time_s, 10.0), between, np.nan)
    return fixes.time_s, fixes["latitude_deg"], fixes["longitude_deg"], height


def _rows(source, edges_m):
    def percent(share):
        return None if np.isnan(share) else round(100.0 * float(share), 1)

    for i in range(len(edges_m) - 1):
        yield {
            "bottom_m": float(edges_m[i]), "top_m": float(edges_m[i + 1]), "source": source.name,
            "up_percent": percent(source.up[i]), "down_percent": percent(source.down[i]),
            "reports": int(source.reports[i]),
        }  # fmt: skip


def known(number):
    """For a table: rounded, or None."""
    return None if number is None or not np.isfinite(number) else round(float(number), 1)
