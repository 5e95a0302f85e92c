"""Logs as the board writes them: its own BlockStore and Parity, on a card in memory.

Every payload is derived from its key (flight, boot, kind, tick), so that a record which was never written, or
was mixed up with another, shows at once.
"""

from dataclasses import dataclass, field
from hashlib import blake2b
from struct import pack, unpack
from zlib import crc32

from onboard.firmware.region import LogRegion
from onboard.firmware.store import BlockStore
from protocol.manifest import Pieces, build_manifest
from protocol.record import Layout
from protocol.table import KINDS

SECTOR = 512
TICKS = 1 << 29
NUMBERS = {name: number for number, name, _ in KINDS}
# A round of samples, as a board takes them: fast sensors more often than slow ones.
ROUND = (
    "motion", "motion", "pressure", "motion", "air", "motion", "fix", "motion", "power", "event", "text",
    "health",
)
FOREIGN = 200  # a kind that the ground's own table has not
FOREIGN_LINES = ("kind 200 ozone", "field current H 1000 uA", "field pump b 1 1")
FOREIGN_PAYLOAD = 3


@dataclass(frozen=True)
class Written:
    """One block or packet that was written whole: its bytes, and the records (kind number, tick, payload)
    that went into it. number: None for parity; place: None for a packet.
    """

    flight: bytes
    boot: int
    number: int | None
    place: int | None
    data: bytes
    records: tuple
    is_packet: bool = False

    @property
    def is_parity(self):
        return self.number is None

    @property
    def key(self):
        return self.flight.hex(), self.boot, self.number


@dataclass
class Log:
    """A card's log. sectors: its bytes, what was never written included; blocks: all that were written whole,
    by place; torn: those whose write was cut; texts: the manifest of each boot.
    """

    flight: bytes
    depth: int
    rate: int
    sectors: bytearray
    blocks: list = field(default_factory=list)
    torn: list = field(default_factory=list)
    texts: dict = field(default_factory=dict)
    has_foreign: bool = False


def derived(flight, boot, kind, tick, size):
    """The payload that the record of this key always has."""
    return blake2b(b"%s %d %d %d" % (flight, boot, kind, tick), digest_size=size).digest()


class ForeignLayout:
    """Stands for a Layout of the kind that the ground does not know."""

    size = 3 + FOREIGN_PAYLOAD
    format = "<Bh"
    number = FOREIGN

    def packer(self, _, buffer, at, difference):
        """As Layout.packer."""
        buffer[at:at + self.size] = pack(self.format, self.number, difference) + self.values


class Pen:
    """Fills layouts with what their keys say, and remembers what was handed to `emit`, in order."""

    def __init__(self, flight, boot, emit):
        self.flight, self.boot, self.emit = flight, boot, emit
        self.emitted = []
        self._layouts = {name: Layout(name) for name in NUMBERS}
        self._foreign = ForeignLayout()

    def write(self, kind, tick):
        """Emit the record of this key."""
        tick %= TICKS
        if kind == "foreign":
            payload = self._foreign.values = derived(self.flight, self.boot, FOREIGN, tick, FOREIGN_PAYLOAD)
            self._out(self._foreign, FOREIGN, tick, payload)
            return
        layout = self._layouts[kind]
        payload = derived(self.flight, self.boot, layout.number, tick, layout.size - 3)
        layout.values[:] = unpack("<" + layout.format[3:], payload)
        self._out(layout, layout.number, tick, payload)

    def write_manifest(self, text, tick, between=lambda: None):
        """Emit all pieces of the manifest; `between` is called after each: they may be more than a queue
        of blocks holds.
        """
        layout = self._layouts["manifest"]
        pieces = Pieces(layout, "text", text)
        pieces.restart()
        while pieces.pending():
            pieces.fill()
            values = layout.values
            payload = pack("<BB48s", values[0], values[1], bytes(values[2]))
            self._out(layout, layout.number, tick % TICKS, payload)
            between()

    def _out(self, layout, number, tick, payload):
        self.emitted.append((number, tick, payload))
        self.emit(layout, tick)


def manifest_text(flight, boot, with_foreign):
    """The manifest of a boot, with the foreign kind or without."""
    text = build_manifest(
        "0.1.0", "Napraforgo-1", flight, boot, "0badcafe",
        [("barometer", "ms5611", 40127, 36924, 23317, 23282, 33464, 28312)], [("motion", 100)],
    )
    if not with_foreign:
        return text
    lines = text.decode().splitlines()[:-1] + list(FOREIGN_LINES)
    text = "".join(line + "\n" for line in lines).encode()
    return text + b"end %08x\n" % crc32(text)


class Card:
    """A card in memory that may refuse sectors, or lose its power in the middle of a write."""

    def __init__(self, sectors):
        self.data = bytearray(sectors)
        self.refused = set()
        self.keeps = None  # bytes of the next write that reach the card, None for all
        self.writes = []  # (sector, bytes, is whole)

    def readblocks(self, number, buffer):
        buffer[:] = self.data[number * SECTOR:(number + 1) * SECTOR]

    def writeblocks(self, number, buffer):
        if number in self.refused:
            raise OSError(5)
        keeps = SECTOR if self.keeps is None else self.keeps
        self.data[number * SECTOR:number * SECTOR + keeps] = buffer[:keeps]
        # Of what was there before, the end may be right already.
        is_whole = self.data[number * SECTOR:(number + 1) * SECTOR] == buffer
        self.writes.append((number, bytes(buffer), is_whole))


class MemoryRegion(LogRegion):
    """The whole card is the log, without a file system around it."""

    def _find(self):
        return 0, len(self._card.data) // SECTOR


class Clock:
    def __init__(self, now):
        self.now = now

    def ticks_ms(self):
        return self.now % TICKS


class Notes:
    """What the store says about the card becomes records like all others."""

    def __init__(self, pen, clock):
        self._pen, self._clock = pen, clock

    def note(self, code, subject, detail):
        self._pen.write("event", self._clock.now)


def write_boot(log, card, boot, blocks, rng, closes_early=0.02, tear=None):
    """Let a boot write about `blocks` blocks; tear: bytes that reach the card of one more block."""
    region = MemoryRegion(card)
    region.resume()
    clock = Clock(rng.choice((40, 40, 40, rng.randrange(TICKS), TICKS - 60_000)))
    store = BlockStore(region, log.flight, boot, clock, log.depth, log.rate)
    pen = Pen(log.flight, boot, store.emit)
    store.events = Notes(pen, clock)
    text = log.texts[boot] = manifest_text(log.flight, boot, log.has_foreign)
    first = len(card.writes)
    manifest_every = rng.choice((10, 40, 200))
    rounds = 0

    def drain():
        # Sampling goes on while the card is tried again: the records' time does not wait for it.
        later = 0
        while store.waiting:
            store.write_one((clock.now + later) % TICKS)
            later += 400

    while len(card.writes) - first < blocks:
        if rounds % manifest_every == 0:
            pen.write_manifest(text, clock.now, drain)
        rounds += 1
        for kind in (*ROUND, "foreign") if log.has_foreign else ROUND:
            # A fix carries the time of its first character, before that of what was written last.
            pen.write(kind, clock.now - (rng.randrange(900) if kind == "fix" else 0))
            clock.now += rng.choice((5, 10, 20))
        if rng.random() < closes_early:
            clock.now += rng.choice((2000, 40_000))
            store.close_if_old(clock.ticks_ms())
        drain()
    if tear is not None:
        pen.write("motion", clock.now)
        store.close_now()
        later = 0
        while store.waiting:
            # The parity that may be due is finished; what follows it is torn.
            card.keeps = tear if not store._parity.is_due(region.prepare()) else None
            store.write_one((clock.now + later) % TICKS)
            later += 400
        card.keeps = None
    _collect(log, boot, pen.emitted, card.writes[first:])


def _collect(log, boot, emitted, writes):
    """Tell which records went into which block, by the order in which both were written."""
    emitted = iter(emitted)
    number = 0
    for place, data, is_whole in writes:
        if data[5] & 1:
            if is_whole:
                log.blocks.append(Written(log.flight, boot, None, place, data, ()))
            continue
        used, tick = unpack("<H", data[26:28])[0], unpack("<I", data[22:26])[0]
        records, at = [], 29
        while at < 29 + used:
            kind, sampled, payload = next(emitted)
            difference = (sampled - tick + TICKS // 2) % TICKS - TICKS // 2
            record = pack("<Bh", kind, difference) + payload
            assert data[at:at + len(record)] == record, "the store erred"
            records.append((kind, sampled, payload))
            at += 3 + len(payload)
        written = Written(log.flight, boot, number, place, data, tuple(records))
        (log.blocks if is_whole else log.torn).append(written)
        number += 1


def write_log(rng, flight, boots, depth, rate, sectors=None, **options):
    """Write a log from its first boot on. boots: list of (blocks, tear), see write_boot; sectors: bytes
    that the region held before (stale blocks are written around), zeros if not given; options:
    has_foreign, refused.
    """
    room = sum(blocks for blocks, _ in boots) + 40
    before = bytearray(sectors or b"")
    before += bytes(max(0, (room + room // max(1, rate) + 2 * depth) * SECTOR))
    card = Card(before)
    card.refused = set(options.pop("refused", ()))
    log = Log(flight, depth, rate, card.data, has_foreign=options.pop("has_foreign", False))
    for boot, (blocks, tear) in enumerate(boots, 1):
        write_boot(log, card, boot, blocks, rng, tear=tear, **options)
    log.sectors = card.data
    # Where nothing, or not even a magic, reached the card, the next boot has written.
    taken = {block.place for block in log.blocks}
    log.torn = [block for block in log.torn if block.place not in taken]
    return log
