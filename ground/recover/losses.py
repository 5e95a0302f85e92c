"""What is missing among the numbers of a boot, and why, as far as the source shows it."""

from bisect import bisect_left, bisect_right

import numpy as np

from ground.recover.ledger import (
    BLOCK, BLOCK_DAMAGED, ONES, PARITY, REBUILT, REPAIRED, UNREADABLE, ZEROS, Loss,
)
from ground.recover.neighbours import data_index, place_of
from protocol.block import BLOCK_SIZE

DAMAGED = "damaged"
TORN = "torn last write"
WIPED = "wiped: its place holds zeros or ones"
NOT_READABLE = "its place could not be read"
OVERWRITTEN = "overwritten: its place holds something else"
NOT_FOUND = "not found"
LINK_GAP = "link gap"
# From what best explains a missing block to what least does: a sector that the card refused was left out, and
# such sectors hold what they held before.
_REASONS = (DAMAGED, OVERWRITTEN, NOT_READABLE, WIPED)
_HELD = len(_REASONS)  # a whole block, of whatever flight, stands there


class Places:
    """Asks the ledger's ranges what stands where blocks should have stood."""

    def __init__(self, ranges):
        self._ranges = ranges
        self._offsets = [item.offset for item in ranges]

    def codes(self, start, count):
        """What stands in each of `count` sectors from offset `start`: uint8 (count,), index of _REASONS or
        _HELD.
        """
        codes = np.full(count, _REASONS.index(OVERWRITTEN), np.uint8)
        stop = start + count * BLOCK_SIZE
        index = max(0, bisect_right(self._offsets, start) - 1)
        while index < len(self._ranges) and self._ranges[index].offset < stop:
            item = self._ranges[index]
            first, last = max(item.offset, start) - start, min(item.end, stop) - start
            if item.state in (ZEROS, ONES):
                # A sector that is only partly blank was not wiped but written by someone else.
                codes[-(-first // BLOCK_SIZE):last // BLOCK_SIZE] = _REASONS.index(WIPED)
            elif item.state in _BY_STATE:
                codes[first // BLOCK_SIZE:-(-last // BLOCK_SIZE)] = _BY_STATE[item.state]
            index += 1
        return codes


_BY_STATE = {
    BLOCK_DAMAGED: _REASONS.index(DAMAGED), UNREADABLE: _REASONS.index(NOT_READABLE),
    BLOCK: _HELD, PARITY: _HELD, REBUILT: _HELD, REPAIRED: _HELD,
}


def block_losses(series, claims, places, limit=None):
    """Losses of one boot's blocks, and how many blocks it must have had.
    claims: {number: Damaged} of damaged blocks that say they are of this boot; limit: where the next boot of
    the flight began (see begin_of), if places rise from boot to boot: this one filled those before it.
    """
    numbers = series.numbers
    claimed = sorted(claims)
    losses = []
    if numbers[0] > 0:
        # Where they stood is not known: nothing shows that the boot began right before.
        losses += _runs(series, -1, 0, _by_claim(0, int(numbers[0]) - 1, claimed))
    for i in np.flatnonzero(np.diff(numbers) > 1).tolist():
        first, last = int(numbers[i]) + 1, int(numbers[i + 1]) - 1
        codes = _between(series, i, int(series.places[i + 1]), int(series.offsets[i + 1]), places)
        if codes is not None and len(codes) > last - first:
            best = _best(codes, last - first + 1)
            reasons = [(first + k, first + k, reason) for k, reason in enumerate(best)]
        else:
            reasons = _by_claim(first, last, claimed)
        losses += _runs(series, i, i + 1, reasons)
    tail = _tail(series, claims, places, limit)
    losses += _runs(series, len(numbers) - 1, len(numbers), tail)
    return losses, max([int(numbers[-1]), *(last for _, last, _ in tail)]) + 1


def _between(series, index, stop, offset, places):
    """What stands in the data places after the block of an index and before the place `stop`, at `offset`:
    array of codes; None if the two do not stand in one row of sectors.
    """
    start, before = int(series.places[index]) + 1, int(series.offsets[index])
    if min(before, offset) < 0 or offset - before != BLOCK_SIZE * (stop - start + 1):
        return None
    if stop <= start:
        return np.empty(0, np.uint8)
    codes = places.codes(before + BLOCK_SIZE, stop - start)
    depth, rate = series.parity
    if not depth * rate:
        return codes
    return codes[np.arange(start, stop) % (depth * (rate + 1)) < depth * rate]


def _best(codes, count):
    """Reasons for `count` missing blocks, which stood in some of the places with these codes, in order."""
    chosen = np.sort(np.argsort(codes, kind="stable")[:count])
    return [OVERWRITTEN if code == _HELD else _REASONS[code] for code in codes[chosen].tolist()]


def begin_of(series):
    """(place, offset) at which a boot began, by its first whole block and the numbers missing before it;
    offset -1 if not known. None if there are not so many places.
    """
    place, offset = int(series.places[0]), int(series.offsets[0])
    begin = place_of(int(data_index(place, *series.parity)) - int(series.numbers[0]), *series.parity)
    if begin < 0:
        return None
    return begin, max(-1, offset - BLOCK_SIZE * (place - begin)) if offset >= 0 else -1


def _tail_before(series, claims, places, limit):
    """(first, last, reason) of blocks that stood between the last whole one of the boot and the next boot."""
    last, begin = int(series.numbers[-1]) + 1, int(series.places[-1]) + 1
    codes = _between(series, -1, *limit, places)
    if codes is None:
        count = int(data_index(limit[0], *series.parity) - data_index(begin, *series.parity))
        return [(last, last + count - 1, NOT_FOUND)] if count > 0 else []
    reasons = [_REASONS[code] for code in codes[codes != _HELD].tolist()]
    torn = {item.offset for item in claims.values() if item.magic_intact}
    if reasons and reasons[-1] == DAMAGED and limit[1] - BLOCK_SIZE in torn:
        reasons[-1] = TORN
    return [(last + k, last + k, reason) for k, reason in enumerate(reasons)]


def _tail(series, claims, places, limit):
    """(first, last, reason) of blocks after the last whole one of the boot."""
    if limit is not None:
        return _tail_before(series, claims, places, limit)
    last, place, offset = int(series.numbers[-1]), int(series.places[-1]), int(series.offsets[-1])
    # They stood in a row, and the last at least is still there in part.
    after = {
        n: item for n, item in claims.items()
        if n > last and item.offset - offset == BLOCK_SIZE * (int(item.header["place"]) - place) > 0
    }
    if not after:
        return []
    item = after[max(after)]
    codes = _between(series, -1, int(item.header["place"]) + 1, item.offset + BLOCK_SIZE, places)
    count = max(after) - last
    if codes is None or len(codes) < count:
        return []
    reasons = _best(codes, count)
    if item.magic_intact and reasons[-1] == DAMAGED:
        reasons[-1] = TORN
    return [(last + 1 + k, last + 1 + k, reason) for k, reason in enumerate(reasons)]


def _by_claim(first, last, claimed):
    """(first, last, reason) intervals that cover numbers first..last. claimed: ascending numbers."""
    intervals = []
    for number in claimed[bisect_left(claimed, first):bisect_right(claimed, last)]:
        if number > first:
            intervals.append((first, number - 1, NOT_FOUND))
        intervals.append((number, number, DAMAGED))
        first = number + 1
    if first <= last:
        intervals.append((first, last, NOT_FOUND))
    return intervals


def _runs(series, before, after, intervals):
    """Losses between the envelopes of two indices, neighbours of equal reason merged."""
    losses = []
    tick_before = int(series.base_ms[before]) if before >= 0 else None
    tick_after = int(series.base_ms[after]) if after < len(series.base_ms) else None
    for first, last, reason in intervals:
        if losses and losses[-1].reason == reason:
            first = losses.pop().first_number
        losses.append(Loss(
            series.flight, series.boot, series.envelope, first, last, tick_before, tick_after, reason
        ))
    return losses


def packet_losses(series):
    """Losses between the first and the last packet heard (nobody knows what was sent before and
    after), and how many packets there were from the one to the other.
    """
    losses = []
    for i in np.flatnonzero(np.diff(series.numbers) > 1).tolist():
        gap = (int(series.numbers[i]) + 1, int(series.numbers[i + 1]) - 1, LINK_GAP)
        losses += _runs(series, i, i + 1, [gap])
    return losses, int(series.numbers[-1] - series.numbers[0]) + 1
