"""Rebuilding lost blocks from parity.

A parity block holds the exclusive or of its members' bytes from the boot on, their CRC-32 included. Where
one member is lost, these bytes of it are the exclusive or of the parity block and the other members. What
stands before them is known from the parity block (magic, version, flags, depth, rate, flight) and from the
rule of the places (place), except for the number. Exactly one number makes the CRC-32 right; it must be one
of those that the neighbours leave possible, and the boot too. With N numbers possible, wrong bytes pass
with probability N / 2^32: between two neighbours of the boot N is 1, at the edge of a boot at most the
number of places up to the next whole block, and never more than CANDIDATES_MAX. With up to `rate` members
tried, that is at most 10 * 1024 / 2^32 = 2.4e-6 a group, and typically 1 / 2^32 = 2.3e-10.

A member that was not a whole block of the flight when the board made the parity is not in it, and bits 1 to
7 of the flags say how many are. So where several members are missing, a block is rebuilt only if exactly
one of those that were taken in is no longer there. Without that count, the exclusive or of three or five
missing blocks could pass for one: the CRC-32 is affine, so it is right for any odd number of them, and
their places and numbers may cancel.
"""

import numpy as np

from ground.layout import BLOCK_HEADER_DTYPE
from ground.recover.evidence import REBUILT
from ground.recover.headers import crc_of, flight_of, flight_words, header_of
from ground.recover.stock import Restored
from ground.recover.syndrome import number_of
from protocol.block import (
    BLOCK_FIRST, BLOCK_LIMIT, BLOCK_SIZE, MEMBER_FIRST, PARITY_FIRST, parity_member,
)

_BATCH = 1 << 16  # parity blocks looked at together
_ROUNDS_MAX = 16  # bounds the work on a log made to give one block a round
_NUMBER_FIRST = BLOCK_HEADER_DTYPE.fields["number"][1]
_NUMBER = slice(_NUMBER_FIRST, _NUMBER_FIRST + 4)


class Rebuilder:
    """Rebuilds what parity gives. stock: Stock, to which rebuilt blocks are added."""

    def __init__(self, stock):
        self._stock = stock
        self._waiting = [
            (stock.found["header"][row], int(stock.found["offset"][row]), row) for row in _incomplete(stock)
        ]
        self._repaired = {}  # offset to bytes

    def add(self, block, offset):
        """Take in a parity block that was repaired."""
        self._repaired[offset] = block
        self._waiting.append((header_of(block), offset, None))

    def run(self):
        """Rebuild until nothing new comes, since a rebuilt block may tell another's number. True if any
        came.
        """
        begun = len(self._stock.restored)
        for _ in range(_ROUNDS_MAX):
            before = len(self._stock.restored)
            self._waiting = [group for group in self._waiting if self._is_undecided(*group)]
            if len(self._stock.restored) == before:
                break
        return len(self._stock.restored) > begun

    def _is_undecided(self, header, offset, row):
        """Rebuild a member of the group if it can be done now. False if there is no need to come back."""
        block = self._repaired.get(offset) if row is None else self._stock.read(row)
        if block is None:
            return False
        total = int.from_bytes(block[PARITY_FIRST:BLOCK_LIMIT], "little")
        missing, whole = [], 0
        for place, at in _members(header, offset):
            member = self._stock.member(flight_of(header), place, at)
            if member is None:
                missing.append((place, at))
            else:
                whole += 1
                total ^= int.from_bytes(member[MEMBER_FIRST:], "little")
        lost = (int(header["flags"]) >> 1) - whole
        if lost <= 0:
            return False  # of what is missing, nothing was a member
        if lost > 1:
            return True
        body = total.to_bytes(BLOCK_SIZE - MEMBER_FIRST, "little")
        fitting = [(self._fitting(header, place, body), at) for place, at in missing]
        fitting = [(member, at) for member, at in fitting if member]
        if len(fitting) != 1:
            return True
        [(member, at)] = fitting
        how = {"from_parity_at_place": int(header["place"])}
        self._stock.add(Restored(header_of(member), crc_of(member), at, REBUILT, how), member)
        return False

    def _fitting(self, parity, place, body):
        """The member at this place, if these bytes of it can be right; else None."""
        header = parity.copy()
        header["flags"], header["place"], header["number"] = 0, place, 0
        member = bytearray(header.tobytes()[:MEMBER_FIRST] + body)
        member[_NUMBER] = number_of(member).to_bytes(4, "little")
        header = header_of(member)
        if header["used"] > BLOCK_LIMIT - BLOCK_FIRST:
            return None
        return bytes(member) if self._stock.neighbours(flight_of(header)).agree(header) else None


def _members(header, offset):
    """(place, offset) of each member of the group of a parity block that stands at an offset."""
    place, depth, rate = (int(header[name]) for name in ("place", "depth", "rate"))
    for k in range(rate):
        member = parity_member(place, depth, rate, k)
        at = offset - BLOCK_SIZE * (place - member)
        yield member, at if at >= 0 else None


def _incomplete(stock):
    """Rows of the whole parity blocks of which a member is missing: list of int."""
    rows = np.flatnonzero(stock.is_parity)
    found = []
    for first in range(0, len(rows), _BATCH):
        batch = rows[first:first + _BATCH]
        headers = stock.found["header"][batch]
        place, depth, rate = (headers[name].astype(np.int64) for name in ("place", "depth", "rate"))
        stripe = np.maximum(depth * (rate + 1), 1)
        batch_missing = np.zeros(len(batch), bool)
        start = place - place % stripe
        valid = (depth > 0) & (place - start >= depth * rate)
        flights = flight_words(headers).astype(np.uint64) << np.uint64(32)
        for k in range(int(rate.max(initial=0))):
            members = start + place % np.maximum(depth, 1) + depth * k
            batch_missing |= valid & (k < rate) & ~stock.holds(flights | members.astype(np.uint64))
        found += batch[batch_missing].tolist()
    return found
