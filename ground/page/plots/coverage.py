"""What of the log came back, kind by kind over time."""

import numpy as np

from ground.page import looks
from ground.page.plot import LINE, MARKERS, Axis, NoPlot, Panel, Plot, Trace, sentence, words
from ground.page.plots.shared import minutes, time_axis, told, value
from ground.recover.evidence import EVIDENCE_WORDS
from ground.statements.log import find_gaps
from ground.statements.position_sources import find_coverage
from ground.statements.quantity import Quantity

TITLE = "Data quality"
_TABLE = "How much of the time positions were heard, by height"
_GAP_STEPS = 2.5  # a time without records this many usual steps long is a gap
_LEAST_GAP_S = 2.0
_LEAST_SHARE = 0.002  # of the whole time: what is shorter is drawn so long, or nobody would see it
_PROVEN = EVIDENCE_WORDS[0]
_WHOLE = looks.Style(looks.SKY_BLUE, looks.SOLID, 9.0)
_MENDED = looks.Style(looks.BLUE, looks.SOLID, 17.0)
_GAP = looks.Style(looks.VERMILLION, looks.SOLID, 3.0)
_LOST = looks.Style(looks.BLACK, mark="x", size=8)
_OCCASIONAL = {"event", "text", "manifest"}  # written when there is something to say; silence is no gap


def plot(case, statements):
    """A row for each kind of record: where records came back whole, where rebuilt or repaired, where not at all."""
    rows = [(kind, *_times(case, kind)) for kind in sorted(case.flight.tables)]
    rows = [row for row in rows if len(row[1])]
    if not rows:
        return NoPlot("coverage", TITLE, "no record has a time")
    everything = np.concatenate([time_s for _, time_s, _ in rows])
    least_s = max(_LEAST_SHARE * float(np.ptp(everything)), 0.5)
    parts = {"Came back whole": [], "Rebuilt or repaired": [], "Gap": []}
    for place, (kind, time_s, mended) in enumerate(rows):
        whole, rebuilt, gaps = _spans(time_s, mended, None if kind in _OCCASIONAL else _usual_s(case, kind, time_s))
        for called, spans in zip(parts, (whole, rebuilt, gaps), strict=True):
            parts[called] += [(place, *span) for span in _merged([_at_least(span, least_s) for span in spans])]
    styles = (_WHOLE, _MENDED, _GAP)
    traces = [
        _bars(case, called, parts[called], style)
        for called, style in zip(parts, styles, strict=True)
        if parts[called]
    ]
    lost = _lost(case, len(rows))
    labels = tuple(kind for kind, _, _ in rows) + (("lost blocks",) if lost else ())
    traces += [lost] if lost else []
    about = told(
        statements,
        ("data_recovered", "data_gaps", "resets_in_flight"),
        "Rows of bars, one for each kind of record, over time.",
    )
    panel = Panel(Axis("", "1", labels=tuple(enumerate(labels)), limits=(len(labels) - 0.5, -0.5)), tuple(traces))
    return Plot(
        "coverage",
        TITLE,
        _title(statements),
        about,
        time_axis(case),
        (panel,),
        table=_positions(case),
        table_name=_TABLE,
    )


def _times(case, kind):
    """Times of the records of a kind on the timeline, and which of them were rebuilt or repaired."""
    series = case.timeline.series(kind, ("tick_ms",))
    columns = case.flight.tables[kind].columns
    words_of = columns.get("evidence")
    if words_of is None or len(series) == 0:
        return series.time_s, np.zeros(len(series), bool)
    mended = words_of != _PROVEN
    if not mended.any():
        return series.time_s, np.zeros(len(series), bool)
    # A record is found again by its boot and tick: the series is sorted by time, the table is not.
    keys = set(zip(columns["boot"][mended].tolist(), columns["tick_ms"][mended].tolist(), strict=True))
    pairs = zip(series.boot.tolist(), series.tick_ms.tolist(), strict=True)
    return series.time_s, np.fromiter((pair in keys for pair in pairs), bool, len(series))


def _usual_s(case, kind, time_s):
    """The usual time between two records of a kind. If the board did not say it: of a log of which much is lost the
    median is too long, so that the shorter steps are taken.
    """
    period_s = case.once(find_gaps).periods_s.get(kind)
    if period_s is not None:
        return period_s
    return float(np.percentile(np.diff(time_s), 10.0)) if len(time_s) > 1 else 0.0


def _spans(time_s, mended, usual_s):
    """(spans of whole records, spans of mended ones, gaps), each a list of (begin_s, end_s). usual_s: between two
    records, None for those that come when there is something to say.
    """
    steps_s = np.diff(time_s)
    if usual_s is None:
        spans = [[(float(t), float(t)) for t, is_mended in zip(time_s, mended, strict=True) if is_mended == want]
                 for want in (False, True)]  # fmt: skip
        return spans[0], spans[1], []
    is_gap = steps_s > max(_LEAST_GAP_S, _GAP_STEPS * usual_s)
    new = np.flatnonzero(is_gap | (np.diff(mended.astype(int)) != 0)) + 1
    edges = [0, *new.tolist(), len(time_s)]
    whole, rebuilt = [], []
    for first, after in zip(edges, edges[1:]):
        if after < len(time_s) and not is_gap[after - 1]:
            end_s = float(time_s[after])
        else:
            end_s = float(time_s[after - 1]) + usual_s
        span = (float(time_s[first]), end_s)
        (rebuilt if mended[first] else whole).append(span)
    gaps = [(float(time_s[i]), float(time_s[i + 1])) for i in np.flatnonzero(is_gap)]
    return whole, rebuilt, gaps


def _at_least(span, least_s):
    short_s = max(least_s - (span[1] - span[0]), 0.0)
    return span[0] - short_s / 2, span[1] + short_s / 2


def _merged(spans):
    """The spans, in order, those that touch made one: it looks the same, and there may be thousands."""
    merged = []
    for begin_s, end_s in spans:
        if merged and begin_s <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end_s, merged[-1][1]))
        else:
            merged.append((begin_s, end_s))
    return merged


def _bars(case, called, spans, style):
    x = np.array([(begin, end, np.nan) for _, begin, end in spans]).ravel()
    y = np.array([(place, place, np.nan) for place, _, _ in spans], float).ravel()
    return Trace(called, LINE, minutes(case, x), y, style, is_whole=True)


def _lost(case, place):
    """A mark for each loss whose time is known; None without any."""
    x, labels = [], []
    for loss in case.once(find_gaps).lost:
        ends = [end_s for end_s in (loss.start_s, loss.end_s) if end_s is not None]
        if ends:
            x.append(sum(ends) / len(ends) / 60.0)
            many = "" if loss.count == 1 else "s"
            labels.append(words(f"{loss.count} {loss.envelope}{many} lost: {loss.reason}"))
    if not x:
        return None
    return Trace("Lost", MARKERS, np.array(x), np.full(len(x), float(place)), _LOST, labels=tuple(labels))


def _positions(case):
    """A table of how much of the time, by band of height, each source of positions was heard; None without any."""
    found = case.once(find_coverage)
    if not found.rows:
        return None
    names = [source.name for source in found.sources]
    columns = [["from", "m"], ["to", "m"]] + [
        [f"{name}, {way}", "percent"] for name in names for way in ("up", "down")
    ]
    bands = {}
    for row in found.rows:
        band = bands.setdefault((row["bottom_m"], row["top_m"]), {})
        band[row["source"]] = [row["up_percent"], row["down_percent"]]
    rows = [
        [*edges, *(share for name in names for share in band.get(name, [None, None]))]
        for edges, band in bands.items()
    ]
    return {"columns": columns, "rows": rows}


def _title(statements):
    share = value(statements, "data_recovered")
    if share is None:
        return words("What came back of the log, over time")
    if share >= 100.0:
        return words("All that the board wrote came back")
    # Rounded down: 100 must mean all.
    floored = int(share * 10.0) / 10.0
    return sentence("{share} of what the board wrote came back", share=Quantity(floored, "percent", 1))
