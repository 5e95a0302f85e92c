"""All whole blocks of a source by their place in the log, and those restored to them."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ground.recover.arrays import chosen, picked
from ground.recover.headers import flight_of, flight_words, is_parity, place_keys
from ground.recover.neighbours import Neighbours
from ground.recover.spool import Spool
from ground.recover.syndrome import syndrome
from protocol.block import BLOCK_SIZE
from protocol.table import FORMAT_VERSION


@dataclass(frozen=True)
class Restored:
    """A block that does not stand whole in the source. header: structured scalar; crc: its CRC-32; offset:
    where its sector stands, None if that is not known; evidence: see ground.recover.evidence; how: for the
    ledger.
    """

    header: np.void
    crc: int
    offset: int | None
    evidence: int
    how: dict

    @property
    def place_in_source(self):
        """`offset`, -1 if that is not known."""
        return -1 if self.offset is None else self.offset


class Stock:
    """source: has read_into(offset, view); found: whole blocks in order of offset, array of FOUND_DTYPE.

    `restored` are the blocks restored so far. A context manager.
    """

    def __init__(self, source, found):
        headers = found["header"]
        known = (headers["flags"] == 0) | is_parity(headers)
        ours = known & (headers["version"] == FORMAT_VERSION)
        self._source = source
        self.found = chosen(found, ours)
        self.is_parity = is_parity(self.found["header"])
        self.restored = []
        self._by_place = {}  # restored blocks with records: (flight, place) to index
        self._spool = Spool()
        self._flights = {}

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._spool.__exit__()

    @cached_property
    def _sorted(self):
        """(keys, rows) of the found blocks with records, in order of key."""
        rows = np.flatnonzero(~self.is_parity)
        keys = place_keys(picked(self.found, rows)["header"])
        order = np.argsort(keys, kind="stable")
        return keys[order], rows[order]

    def holds(self, keys):
        """bool, of the shape of `keys` (see place_keys): a block with records stands whole at that place."""
        known = self._sorted[0]
        if not len(known):
            return np.zeros(keys.shape, bool)
        return known[np.minimum(np.searchsorted(known, keys), len(known) - 1)] == keys

    def neighbours(self, flight):
        """Neighbours of a flight (4 bytes); kept up to date."""
        if flight not in self._flights:
            mine = flight_words(self.found["header"]) == np.frombuffer(flight, "<u4")
            self._flights[flight] = Neighbours(chosen(self.found, mine & ~self.is_parity)["header"])
            for item in self.restored:
                self._tell(item.header)
        return self._flights[flight]

    def _tell(self, header):
        flight = flight_of(header)
        if flight in self._flights and not is_parity(header):
            self._flights[flight].add(header)

    def add(self, item, block):
        """Take in a restored block with its bytes. Returns its index."""
        index = len(self.restored)
        self._spool.keep(BLOCK_SIZE * index, block)
        self.restored.append(item)
        if not is_parity(item.header):
            self._by_place[flight_of(item.header), int(item.header["place"])] = index
        self._tell(item.header)
        return index

    def read_restored(self, index, view):
        """Fill a memoryview of 512 bytes with a restored block."""
        self._spool.read_into(BLOCK_SIZE * index, view)

    def member(self, flight, place, offset):
        """Bytes of the block with records at a place; None if there is none, or if there are different ones
        (several cards of one flight) and none stands at `offset`, where it belongs.
        """
        rows = self._rows(flight, place)
        if len(rows):
            standing = rows[self.found["offset"][rows] == offset]
            if not len(standing) and len(np.unique(self.found["crc"][rows])) > 1:
                return None
            return self.read((standing if len(standing) else rows)[0])
        index = self._by_place.get((flight, place))
        if index is None:
            return None
        block = bytearray(BLOCK_SIZE)
        self.read_restored(index, memoryview(block))
        return bytes(block)

    def is_known(self, flight, place):
        """True if a block with records is known at this place, whole or restored."""
        return (flight, place) in self._by_place or len(self._rows(flight, place)) > 0

    def _rows(self, flight, place):
        known, rows = self._sorted
        key = np.uint64(int.from_bytes(flight, "little") << 32 | place)
        return rows[known.searchsorted(key):known.searchsorted(key, "right")]

    def read(self, row):
        """Bytes of a found block; None if the source does not give them a second time."""
        block = bytearray(BLOCK_SIZE)
        self._source.read_into(int(self.found["offset"][row]), memoryview(block))
        return None if syndrome(block) else bytes(block)
