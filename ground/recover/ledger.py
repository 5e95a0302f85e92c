"""The ledger: what every byte of a source held, what was lost, and how that is known."""

from collections import Counter
from dataclasses import asdict, dataclass, field, replace

LEDGER_FORMAT = "loftbook-ledger"
LEDGER_VERSION = 1

BLOCK = "block"
BLOCK_DAMAGED = "block_damaged"
PACKET = "packet"
ZEROS = "unwritten_zeros"
ONES = "unwritten_ones"
OTHER = "other"
UNREADABLE = "unreadable"


@dataclass(frozen=True)
class Range:
    """`length` bytes from `offset` that held the same thing."""

    offset: int
    length: int
    state: str
    detail: dict = field(default_factory=dict)

    @property
    def end(self):
        """Offset of the first byte after the range."""
        return self.offset + self.length


@dataclass(frozen=True)
class Loss:
    """Envelopes that were written (their number is missing among its neighbours), not recovered.
    envelope: 'block' or 'packet'; ticks: base ticks, ms since boot, of the envelopes found before
    and after, None if there is none.
    """

    flight: str
    boot: int
    envelope: str
    first_number: int
    last_number: int
    tick_before_ms: int | None
    tick_after_ms: int | None
    reason: str

    @property
    def count(self):
        """Number of envelopes lost."""
        return self.last_number - self.first_number + 1


@dataclass
class Ledger:
    """Covers a source byte by byte. `ranges` are in order, without gap or overlap."""

    source: str
    size: int
    ranges: list[Range]
    losses: list[Loss] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def check(self):
        """Raise ValueError unless the ranges cover every byte exactly once, in order."""
        at = 0
        for item in self.ranges:
            if item.offset != at or item.length <= 0:
                raise ValueError(f"ledger of {self.source} does not balance at byte {at}")
            at = item.end
        if at != self.size:
            raise ValueError(f"ledger of {self.source} covers {at} of {self.size} bytes")

    def bytes_by_state(self):
        """Bytes in each state that occurs."""
        totals = Counter()
        for item in self.ranges:
            totals[item.state] += item.length
        return dict(totals)

    @property
    def has_losses(self):
        """True if something of ours was damaged, missing or could not be read."""
        states = {item.state for item in self.ranges}
        return bool(self.losses) or not states.isdisjoint({BLOCK_DAMAGED, UNREADABLE})

    def to_json(self):
        """The ledger as plain dicts, lists, strings and numbers."""
        return {
            "format": LEDGER_FORMAT,
            "version": LEDGER_VERSION,
            "source": {"name": self.source, "size": self.size},
            "bytes_by_state": self.bytes_by_state(),
            "ranges": [asdict(item) for item in self.ranges],
            "losses": [asdict(item) for item in self.losses],
            "notes": list(self.notes),
        }


def cover(size, base, overlays):
    """Ranges that cover `size` bytes once: `overlays` (in order, disjoint) as they stand, and
    `base` (in order) wherever no overlay is. Neighbours of equal state without detail are merged.
    """
    ranges = []

    def put(item):
        last = ranges[-1] if ranges else None
        if last and last.state == item.state and not last.detail and not item.detail:
            ranges[-1] = Range(last.offset, last.length + item.length, last.state)
        else:
            ranges.append(item)

    def fill(start, stop):
        nonlocal index
        while start < stop:
            while base[index].end <= start:
                index += 1
            end = min(stop, base[index].end)
            put(Range(start, end - start, base[index].state))
            start = end

    at = index = 0
    for overlay in overlays:
        fill(at, overlay.offset)
        put(overlay)
        at = overlay.end
    fill(at, size)
    return ranges


def repaint(ranges, offset, length, state):
    """The ranges with everything that is not ours in `length` bytes from `offset` in another state."""
    painted = []
    for item in ranges:
        start, stop = max(item.offset, offset), min(item.end, offset + length)
        if start >= stop or item.state not in (ZEROS, ONES, OTHER):
            painted.append(item)
            continue
        if item.offset < start:
            painted.append(replace(item, length=start - item.offset))
        painted.append(Range(start, stop - start, state))
        if stop < item.end:
            painted.append(replace(item, offset=stop, length=item.end - stop))
    return painted
