"""The ledger: what every byte of a source held, what was lost, and how that is known."""

from bisect import bisect_right
from collections import Counter
from dataclasses import asdict, dataclass, field, replace

LEDGER_FORMAT = "loftbook-ledger"
# Version 1 is the ledger of one source. Of several sources, version 2: each item of its list
# "sources" has what a ledger of version 1 says of its only one: "source", "bytes_by_state", "ranges".
LEDGER_VERSION = 1
LEDGER_VERSION_OF_SEVERAL = 2

BLOCK = "block"
BLOCK_DAMAGED = "block_damaged"
PARITY = "parity"
PARITY_DAMAGED = "parity_damaged"
# The sector of a block that came back by parity or repair; the detail's "held" is the state it is in.
REBUILT = "rebuilt"
REPAIRED = "repaired"
PACKET = "packet"
ZEROS = "unwritten_zeros"
ONES = "unwritten_ones"
OTHER = "other"
UNREADABLE = "unreadable"
WHOLE = (BLOCK, PARITY, PACKET)  # proven by a check sum of their own
# In a range's detail: the source that holds whole what this one holds damaged or not at all.
MADE_GOOD = "made_good_by"
# In a source's facts: why it could not be read to its end.
CUT_OFF = "cut_off"
# In a compressed source's facts: what is wrong with the check sum of the compression, if anything is.
CHECK_SUM = "check_sum"
WRONG, MISSING = "wrong", "missing"


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
class Coverage:
    """Covers one source byte by byte.

    source: its name; size: bytes that are covered; ranges: in order, without gap or overlap. The
    last may be unreadable and have no length: what follows, nobody knows how much, could not be read.
    facts: what else is known of the source, for the ledger (compression, map of a copied card, CUT_OFF).
    """

    source: str
    size: int
    ranges: list[Range]
    facts: dict = field(default_factory=dict)

    @property
    def doubts(self):
        """What is lost of the source, nobody knows how much: list of str."""
        doubts = []
        if CUT_OFF in self.facts:
            doubts.append(f"the rest of {self.source}, which {self.facts[CUT_OFF]}")
        if self.facts.get(CHECK_SUM) == WRONG:
            doubts.append(f"something in {self.source}, of which the check sum is wrong")
        return doubts

    def check(self):
        """Raise ValueError unless the ranges cover every byte exactly once, in order."""
        at = 0
        for item in self.ranges:
            endless = item.state == UNREADABLE and item.length == 0 and item is self.ranges[-1]
            if item.offset != at or (item.length <= 0 and not endless):
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

    def to_json(self):
        """The entry of this source in a ledger."""
        return {
            "source": {"name": self.source, "size": self.size, **self.facts},
            "bytes_by_state": self.bytes_by_state(),
            "ranges": [asdict(item) for item in self.ranges],
        }


@dataclass
class Ledger:
    """What the sources of one recovery held, each by itself, and what is lost in all of them together.

    evidence, parity, restored: see ground.recover.account.
    """

    sources: list[Coverage]
    losses: list[Loss] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    evidence: dict = field(default_factory=dict)
    parity: dict = field(default_factory=dict)
    restored: list[dict] = field(default_factory=list)

    @property
    def size(self):
        """Bytes of all sources."""
        return sum(item.size for item in self.sources)

    @property
    def ranges(self):
        """The ranges of all sources, one source after the other."""
        return [item for source in self.sources for item in source.ranges]

    def check(self):
        """Raise ValueError unless every source is covered."""
        for source in self.sources:
            source.check()

    def bytes_by_state(self):
        """Bytes of all sources in each state that occurs."""
        totals = Counter()
        for source in self.sources:
            totals.update(source.bytes_by_state())
        return dict(totals)

    @property
    def doubts(self):
        """What is lost of the sources, nobody knows how much: list of str."""
        return [doubt for source in self.sources for doubt in source.doubts]

    def places(self, state):
        """Ranges in a state whose contents no other source made good."""
        return [item for item in self.ranges if item.state == state and MADE_GOOD not in item.detail]

    @property
    def has_losses(self):
        """True if something of ours was damaged, missing or could not be read."""
        return bool(
            self.losses or self.places(BLOCK_DAMAGED) or self.places(UNREADABLE) or self.doubts
        )

    def to_json(self):
        """The ledger as plain dicts, lists, strings and numbers."""
        entries = [source.to_json() for source in self.sources]
        version, covered = LEDGER_VERSION_OF_SEVERAL, {"sources": entries}
        if len(entries) == 1:
            version, covered = LEDGER_VERSION, entries[0]
        return {
            "format": LEDGER_FORMAT,
            "version": version,
            **covered,
            "losses": [asdict(item) for item in self.losses],
            "evidence": self.evidence,
            "parity": self.parity,
            "restored": list(self.restored),
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


def beside(damaged, packets):
    """Ranges of damaged places and of packets without overlap: a packet that is proven counts, the place
    around it remains damaged; one that is not believed (OTHER) tells nothing about a damaged place.
    Both lists have no overlap in themselves.
    """
    packets = sorted(packets, key=lambda item: item.offset)
    stops = [item.end for item in packets]
    parts, hidden = [], set()
    for place in damaged:
        at, index = place.offset, bisect_right(stops, place.offset)
        while index < len(packets) and packets[index].offset < place.end:
            packet = packets[index]
            if packet.state == OTHER:
                hidden.add(index)
            else:
                if at < packet.offset:
                    parts.append(replace(place, offset=at, length=packet.offset - at))
                at = packet.end
            index += 1
        if at < place.end:
            parts.append(replace(place, offset=at, length=place.end - at))
    return parts + [item for index, item in enumerate(packets) if index not in hidden]


def repaint(ranges, places, state):
    """The ranges, in another state wherever they lie in one of the places ((offset, length), ascending by
    offset) and hold neither whole blocks, parity nor packets.
    """
    painted, index = [], 0
    for item in ranges:
        at = item.offset
        while at < item.end and item.state not in WHOLE:
            while index < len(places) and sum(places[index]) <= at:
                index += 1
            start, stop = item.end, item.end
            if index < len(places):
                start, stop = max(at, min(places[index][0], stop)), min(sum(places[index]), stop)
            if at < start:
                painted.append(replace(item, offset=at, length=start - at))
            if start < stop:
                last = painted[-1] if painted else None
                if last and last.state == state and last.end == start:
                    start = painted.pop().offset
                painted.append(Range(start, stop - start, state))
            at = max(start, stop)
        if item.state in WHOLE:
            painted.append(item)
    return painted
