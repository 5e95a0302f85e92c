"""What several sources have lost together, and what one of them makes good for another."""

from bisect import bisect_right
from dataclasses import dataclass, replace

import numpy as np

from ground.recover.headers import flight_name, flight_words
from ground.recover.ledger import BLOCK_DAMAGED, MADE_GOOD, UNREADABLE, Coverage, Loss
from ground.recover.losses import NOT_FOUND, Places, begin_of, block_losses
from protocol.block import BLOCK_SIZE, FLAG_PARITY


@dataclass
class View:
    """What one source has of the blocks. claims: {(flight, boot): {number: Damaged}}."""

    coverage: Coverage
    found: np.ndarray
    claims: dict
    places: Places

    def series_of(self, series):
        """The part of a Series of blocks that this source holds, with offsets in it; None if nothing."""
        headers = self.found["header"]
        flight = int.from_bytes(bytes.fromhex(series.flight), "little")
        # A parity block holds something else where others have their boot and number.
        mine = self.found[
            (flight_words(headers) == flight) & (headers["boot"] == series.boot)
            & (headers["flags"] & FLAG_PARITY == 0)
        ]
        numbers, first = np.unique(mine["header"]["number"].astype(np.int64), return_index=True)
        known = np.isin(numbers, series.numbers)
        if not known.any():
            return None
        numbers, first = numbers[known], first[known]
        base_ms = series.base_ms[np.searchsorted(series.numbers, numbers)]
        return replace(
            series, numbers=numbers, base_ms=base_ms, offsets=mine["offset"][first],
            places=mine["header"]["place"][first].astype(np.int64), evidence=None,
        )

    def claims_of(self, series):
        """{number: Damaged} of the blocks that say they are of this boot."""
        return self.claims.get((series.flight, series.boot), {})


def claims_of(damaged):
    """Damaged blocks by what they say of themselves: {(flight, boot): {number: Damaged}}."""
    claims = {}
    for item in damaged:
        claims.setdefault(claim_of(item), {}).setdefault(int(item.header["number"]), item)
    return claims


def claim_of(damaged):
    """(flight, boot) that a damaged block says it is of."""
    headers = damaged.header.reshape(1)
    return flight_name(flight_words(headers)[0]), int(damaged.header["boot"])


def followers(blocks):
    """For each Series of blocks that of the next boot of its flight that left any, by (flight, boot); not
    where places do not rise with the boots, as on several cards.
    """
    known = {}
    ordered = sorted(blocks, key=lambda item: (item.flight, item.boot))
    for one, other in zip(ordered, ordered[1:], strict=False):
        if one.flight == other.flight and one.places.max() < other.places.min():
            known[one.flight, one.boot] = other
    return known


def joint_losses(series, following, views):
    """Losses of one boot's blocks in all sources together, and how many blocks it must have had.
    following: Series of the next boot, see followers, or None.
    """
    limit = following and begin_of(following)
    if len(views) == 1:
        return block_losses(series, views[0].claims_of(series), views[0].places, limit)
    known, expected = [], 0
    for view in views:
        part = view.series_of(series)
        if part is not None:
            then = following and view.series_of(following)
            # Where the next boot began in this source; else its place alone is known.
            here = (then and begin_of(then)) or (limit and (limit[0], -1))
            losses, count = block_losses(part, view.claims_of(series), view.places, here)
            known.append([(loss.first_number, loss.last_number, loss.reason) for loss in losses])
            expected = max(expected, count)
    missing = _missing(series.numbers, expected)
    for intervals in known:
        missing = _explained(missing, intervals)
    return [_loss(series, *interval) for interval in _merged(missing)], expected


def _missing(numbers, expected):
    """(first, last, NOT_FOUND) of all numbers below `expected` that are not there."""
    edges = np.concatenate([[-1], numbers[numbers < expected], [expected]])
    gaps = np.flatnonzero(np.diff(edges) > 1)
    return [(int(edges[i]) + 1, int(edges[i + 1]) - 1, NOT_FOUND) for i in gaps]


def _explained(missing, intervals):
    """Missing intervals, with the reasons of one source where there was no better one than NOT_FOUND.
    Both lists are in order and disjoint.
    """
    starts = [first for first, _, _ in intervals]
    explained = []
    for first, last, reason in missing:
        index = max(0, bisect_right(starts, first) - 1)
        while reason == NOT_FOUND and index < len(intervals) and intervals[index][0] <= last:
            start, stop = max(first, intervals[index][0]), min(last, intervals[index][1])
            if start <= stop:
                if first < start:
                    explained.append((first, start - 1, reason))
                explained.append((start, stop, intervals[index][2]))
                first = stop + 1
            index += 1
        if first <= last:
            explained.append((first, last, reason))
    return explained


def _merged(intervals):
    merged = []
    for first, last, reason in intervals:
        if merged and merged[-1][1] + 1 == first and merged[-1][2] == reason:
            first = merged.pop()[0]
        merged.append((first, last, reason))
    return merged


def _loss(series, first, last, reason):
    after = int(np.searchsorted(series.numbers, first))
    ticks = [
        int(series.base_ms[index]) if 0 <= index < len(series.base_ms) else None
        for index in (after - 1, after)
    ]
    return Loss(series.flight, series.boot, series.envelope, first, last, *ticks, reason)


def mark_made_good(series, views, names):
    """Mark what one source holds damaged, or could not be read there, while another holds it whole.
    series: all Series of blocks; names: called with a joint offset, tells the source.
    """
    whole = [item.proven() for item in series]
    for view in views:
        stretches = []
        for item in whole:
            stretches += _standing_elsewhere(item, view)
        _mark(view.coverage, _united(sorted(stretches)), names)


def _standing_elsewhere(series, view):
    """(start, stop, joint offset) of bytes of a source in which blocks stood that are whole in another."""
    stretches = []
    part = view.series_of(series)
    if part is not None:
        in_row = np.diff(part.offsets) == BLOCK_SIZE * np.diff(part.places)
        for i in np.flatnonzero((np.diff(part.numbers) > 1) & in_row).tolist():
            origin = int(part.offsets[i]) - BLOCK_SIZE * int(part.places[i])
            stretches += _whole_runs(series, int(part.numbers[i]), int(part.numbers[i + 1]), origin)
    held = set(part.numbers.tolist()) if part is not None else set()
    for number, damaged in view.claims_of(series).items():
        at = int(np.searchsorted(series.numbers, number))
        if at < len(series.numbers) and series.numbers[at] == number and number not in held:
            stretches.append((damaged.offset, damaged.offset + damaged.length, int(series.offsets[at])))
    return stretches


def _whole_runs(series, before, after, origin):
    """Of the blocks between two numbers, those that are there. origin: offset of place 0."""
    first, last = np.searchsorted(series.numbers, (before + 1, after))
    edges = np.flatnonzero(np.diff(series.places[first:last]) != 1) + 1
    return [
        (
            origin + BLOCK_SIZE * int(series.places[run[0]]),
            origin + BLOCK_SIZE * (int(series.places[run[-1]]) + 1),
            int(series.offsets[run[0]]),
        )
        for run in np.split(np.arange(first, last), edges) if len(run)
    ]


def _united(stretches):
    united = []
    for start, stop, offset in stretches:
        if united and start <= united[-1][1]:
            start, before, offset = united.pop()
            stop = max(stop, before)
        united.append((start, stop, offset))
    return united


def _mark(coverage, stretches, names):
    starts = [start for start, _, _ in stretches]
    for index, item in enumerate(coverage.ranges):
        if item.state in (BLOCK_DAMAGED, UNREADABLE):
            at = bisect_right(starts, item.offset) - 1
            if at >= 0 and item.end <= stretches[at][1]:
                detail = {**item.detail, MADE_GOOD: names(stretches[at][2])}
                coverage.ranges[index] = replace(item, detail=detail)
