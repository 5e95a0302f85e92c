# Parity: every so many blocks, sectors that hold the exclusive or of earlier ones, so that a run of lost sectors
# comes back. Stripes are laid over the places of the log and not over boots, and members are read back from the
# card: so no memory is held for them, and a reset in the middle changes nothing.

from protocol.block import (
    BLOCK_FLIGHT, BLOCK_LIMIT, BLOCK_SIZE, FLAG_PARITY, MEMBER_FIRST, PARITY_FIRST, close_parity, is_parity_place,
    parity_member,
)
from protocol.constant import const

_FLAGS = const(5)  # offset of the flags in a block


class Parity:
    """Makes the parity blocks of a log, one member a step.

    region: a LogRegion; flight: 4 bytes; depth: so many lost sectors in a row come back; rate: data sectors a
    parity sector. depth 0 switches parity off.
    """

    def __init__(self, region, flight, depth, rate):
        self.region = region
        self._flight = flight
        self.depth = depth
        self.rate = rate
        self.buffer = bytearray(BLOCK_SIZE if depth else 0)
        self._checked = memoryview(self.buffer)[:BLOCK_LIMIT]
        self._place = -1  # of the parity block in the making
        self._member = 0  # next member to look at
        self._taken = 0  # members that were whole and are in it

    def is_due(self, place):
        """True if the next sector of the log, at this place, must hold parity."""
        return is_parity_place(place, self.depth, self.rate)

    def step(self, place):
        """Take in one member of the parity block at this place. Returns True when `buffer` is ready."""
        if place != self._place:
            self._place = place
            self._member = 0
            self._taken = 0
            for i in range(BLOCK_SIZE):
                self.buffer[i] = 0
        if self._member < self.rate:
            self._take(parity_member(place, self.depth, self.rate, self._member))
            self._member += 1
            return False
        close_parity(self.buffer, self._checked, self._flight, place, self.depth, self.rate, self._taken)
        return True

    def _take(self, place):
        # Only whole blocks of this flight count; anything else stands for zeros, here and on the ground.
        sector = self.region.whole_block(place, BLOCK_FLIGHT, self._flight)
        if sector is None or sector[_FLAGS] & FLAG_PARITY:
            return
        self._taken += 1
        # Plain bytecode: one block in two seconds is not worth machine code, which each processor needs of its own.
        buffer = self.buffer
        for i in range(BLOCK_SIZE - MEMBER_FIRST):
            buffer[PARITY_FIRST + i] ^= sector[MEMBER_FIRST + i]
