"""What is missing among the numbers of a boot, and why, as far as the source shows it."""

from bisect import bisect_left, bisect_right

import numpy as np

from ground.recover.ledger import BLOCK_DAMAGED, ONES, UNREADABLE, ZEROS, Loss
from protocol.block import BLOCK_SIZE

DAMAGED = "damaged"
TORN = "torn last write"
WIPED = "wiped: its place holds zeros or ones"
NOT_READABLE = "its place could not be read"
OVERWRITTEN = "overwritten: its place holds something else"
NOT_FOUND = "not found"
LINK_GAP = "link gap"
_REASONS = (OVERWRITTEN, WIPED, NOT_READABLE, DAMAGED)


class Places:
    """Asks the ledger's ranges what stands where blocks should have stood."""

    def __init__(self, ranges):
        self._ranges = ranges
        self._offsets = [item.offset for item in ranges]

    def reasons(self, start, count):
        """Reason for each of `count` blocks whose place begins at offset `start`: list of str."""
        codes = np.full(count, _REASONS.index(OVERWRITTEN), np.uint8)
        stop = start + count * BLOCK_SIZE
        index = max(0, bisect_right(self._offsets, start) - 1)
        while index < len(self._ranges) and self._ranges[index].offset < stop:
            item = self._ranges[index]
            first, last = max(item.offset, start) - start, min(item.end, stop) - start
            if item.state in (ZEROS, ONES):
                # A sector that is only partly blank was not wiped but written by someone else.
                codes[-(-first // BLOCK_SIZE):last // BLOCK_SIZE] = _REASONS.index(WIPED)
            elif item.state in (BLOCK_DAMAGED, UNREADABLE):
                reason = DAMAGED if item.state == BLOCK_DAMAGED else NOT_READABLE
                codes[first // BLOCK_SIZE:-(-last // BLOCK_SIZE)] = _REASONS.index(reason)
            index += 1
        return [_REASONS[code] for code in codes]


def block_losses(series, claims, places):
    """Losses of one boot's blocks, and how many blocks it must have had.
    claims: {number: Damaged} of damaged blocks that say they are of this boot.
    """
    numbers, offsets = series.numbers, series.offsets
    claimed = sorted(claims)
    losses = []
    if numbers[0] > 0:
        # Where they stood is not known: nothing shows that the boot began right before.
        losses += _runs(series, -1, 0, _by_claim(0, int(numbers[0]) - 1, claimed))
    for i in np.flatnonzero(np.diff(numbers) > 1).tolist():
        first, last = int(numbers[i]) + 1, int(numbers[i + 1]) - 1
        if offsets[i + 1] - offsets[i] == BLOCK_SIZE * (numbers[i + 1] - numbers[i]):
            found = places.reasons(int(offsets[i]) + BLOCK_SIZE, last - first + 1)
            reasons = [(first + k, first + k, reason) for k, reason in enumerate(found)]
        else:
            reasons = _by_claim(first, last, claimed)
        losses += _runs(series, i, i + 1, reasons)
    tail = _tail(series, claims, places)
    losses += _runs(series, len(numbers) - 1, len(numbers), tail)
    return losses, int(numbers[-1]) + 1 + len(tail)


def _tail(series, claims, places):
    """Reasons for blocks that stood in a row after the last whole one, of which the last at least
    is still there in part.
    """
    last, end = int(series.numbers[-1]), int(series.offsets[-1]) + BLOCK_SIZE
    after = [n for n, d in claims.items() if n > last and d.offset == end + BLOCK_SIZE * (n - last - 1)]
    if not after:
        return []
    count = max(after) - last
    reasons = places.reasons(end, count)
    if claims[last + count].magic_intact:
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
