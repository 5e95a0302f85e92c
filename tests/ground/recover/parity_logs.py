"""Logs written by the board's own store, with parity, into a row of sectors in memory; and what was
written.
"""

from collections import Counter
from struct import unpack_from

from built_images import FLIGHT, LAYOUTS, ROUND, Writer, derived_values

from onboard.firmware.region import LogRegion
from onboard.firmware.store import BlockStore
from protocol.block import BLOCK_FIRST, BLOCK_HEADER, BLOCK_HEADER_FIELDS, BLOCK_SIZE, FLAG_PARITY, is_whole
from protocol.manifest import Pieces
from protocol.record import RECORD_HEADER
from protocol.table import KINDS


class Card:
    """Sectors in memory. refused: those that cannot be written; dead: those that cannot be read either."""

    def __init__(self, count):
        self.sectors = [bytes(BLOCK_SIZE)] * count
        self.refused, self.dead = set(), set()

    def readblocks(self, number, buffer):
        """As a card's driver."""
        if number in self.dead:
            raise OSError(5)
        buffer[:] = self.sectors[number]

    def writeblocks(self, number, buffer):
        """As a card's driver."""
        if number in self.refused:
            raise OSError(5)
        self.sectors[number] = bytes(buffer)


class Region(LogRegion):
    """The whole card is the log."""

    def _find(self):
        return 0, len(self._card.sectors)


class _Quiet:
    def note(self, code, subject, detail):
        """As Events."""

    def ticks_ms(self):
        """As the board."""
        return 0


class Flight:
    """Boots of a logger on one card; `card.sectors` is what it wrote."""

    def __init__(self, depth=16, rate=10, sectors=400, flight=FLIGHT):
        self.depth, self.rate, self.flight = depth, rate, flight
        self.card = Card(sectors)
        self.boots = 0
        self._stale = {}

    def boot(self, blocks, short=False):
        """One more boot, of at least so many blocks with records. short: blocks of one record each."""
        self.boots += 1
        region = Region(self.card)
        region.resume()
        store = BlockStore(region, self.flight, self.boots, _Quiet(), self.depth, self.rate)
        store.events = _Quiet()
        now, first = 1000, region.next
        pieces = Pieces(LAYOUTS["manifest"], "text", Writer(flight=self.flight, boot=self.boots).text)
        pieces.restart()
        while pieces.pending():
            pieces.fill()
            store.emit(LAYOUTS["manifest"], now)
            self._drain(store, now)
        step = 0
        while self._written(first) < blocks and region.room():
            kind = ROUND[step % len(ROUND)]
            LAYOUTS[kind].values[:] = derived_values(self.flight, self.boots, kind, now)
            store.emit(LAYOUTS[kind], now)
            step, now = step + 1, now + 20
            if short:
                store.close_now()
            self._drain(store, now)
        store.close_now()
        self._drain(store, now)
        return self

    def _written(self, first):
        return sum(
            sector[:1] != b"\0" and not sector[5] & FLAG_PARITY for sector in self.card.sectors[first:]
        )

    @staticmethod
    def _drain(store, now):
        # A card that refuses is tried again after a pause; here time is of no account.
        for attempt in range(200):
            if not store.waiting:
                break
            store.write_one(now + 1000 * attempt)

    def tear(self, kept):
        """Tear the last sector that was written, as a power cut does."""
        last = max(i for i, sector in enumerate(self.card.sectors) if any(sector))
        self.card.sectors[last] = self.card.sectors[last][:kept] + bytes(BLOCK_SIZE - kept)
        return last

    @property
    def image(self):
        """The sectors as bytes, ready to be damaged."""
        return bytearray(b"".join(self.card.sectors))

    def blocks(self):
        """{place: header as dict} of the whole blocks with records, read without the ground program."""
        found = {}
        for place, sector in enumerate(self.card.sectors):
            if is_whole(sector) and sector[8:12] == self.flight and not sector[5] & FLAG_PARITY:
                found[place] = dict(zip(BLOCK_HEADER_FIELDS, unpack_from(BLOCK_HEADER, sector), strict=True))
        return found

    def parity_places(self):
        """Places of whole parity blocks."""
        return [
            place for place, sector in enumerate(self.card.sectors)
            if is_whole(sector) and sector[8:12] == self.flight and sector[5] & FLAG_PARITY
        ]

    def keys(self, places=None):
        """Counter of (boot, kind, tick) of the records, manifests left out, in the blocks at these places, or
        in all of them.
        """
        sizes = {number: (name, LAYOUTS[name].size) for number, name, _ in KINDS}
        counted = Counter()
        for place, header in self.blocks().items():
            if places is not None and place not in places:
                continue
            sector, at = self.card.sectors[place], BLOCK_FIRST
            while at < BLOCK_FIRST + header["used"]:
                number, difference = unpack_from("<" + RECORD_HEADER, sector, at)
                name, size = sizes[number]
                if name != "manifest":
                    counted[header["boot"], name, header["tick"] + difference] += 1
                at += size
        return counted
