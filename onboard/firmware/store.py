# The block store: records go into the open block; closed blocks wait in a short queue for the card.

from onboard.firmware.events import error_number
from onboard.firmware.parity import Parity
from protocol.block import BlockBuilder
from protocol.constant import const
from protocol.tick import tick_add, tick_difference

QUEUE_BLOCKS = const(6)  # buffers in all: one is open, the others may wait for a slow card
CLOSE_AGE_MS = const(1850)  # age at which a block is closed: on the card within two seconds, even if it pauses
RETRY_MS = const(1000)  # pause after the card refused a block
TRIES = const(3)  # refusals after which the next sector is tried: one bad sector must not end the log
_COUNT_MAX = const(65534)
_LAST_SECTORS = const(3)

# Numbers of protocol/table.py; a test compares them.
_CARD = const(0)
_DEVICE_FAILED = const(3)
_DEVICE_RETURNED = const(4)
_BLOCKS_LOST = const(5)
_CARD_FULL = const(7)


class BlockStore:
    """Puts records into blocks and blocks onto the card.

    region: a LogRegion, or None when there is no usable card: records are then counted as lost.
    depth, rate: of the parity, see Parity.
    events: an object with note(code, subject, detail), told when the card fails or fills.
    """

    def __init__(self, region, flight, boot, board, depth=0, rate=0):
        self._region = region
        self._parity = Parity(region, flight, depth, rate)
        self._flight = flight
        self._boot = boot
        self._board = board
        self.events = None
        self.phase = 0
        self._builders = [BlockBuilder() for _ in range(QUEUE_BLOCKS)]
        self._open = 0  # index of the builder that takes records
        self._builder = self._builders[0]  # and itself
        self._oldest = 0  # tick from which its age counts
        self.waiting = 0  # closed blocks behind it, oldest first
        self._number = 0
        self._retry_at = 0
        self._failing = 0
        self._full_noted = False
        self.is_busy = False  # a parity block is in the making and waits for its next step
        self.wrote_parity = False  # the last write was of parity: the block that waits is still to come
        self.lost = 0
        self.write_time_last = 0
        self.write_time_slowest = 0
        self.card_errors = 0

    def take(self, region, boot):
        """Begin the log on a card that comes late. What was logged until then is lost: it has no boot's number."""
        self._region = region
        self._parity.region = region
        self._boot = boot
        self.lost += self.waiting
        if self._builders[self._open].is_open:
            self._builders[self._open].is_open = False
            self.lost += 1
        self.waiting = 0

    def room(self):
        """Sectors of the log that are left, 0 without a card."""
        return 0 if self._region is None else self._region.room()

    def emit(self, layout, tick):
        """Put the layout's values, sampled at that tick, into the log."""
        builder = self._builder
        if builder.is_open:
            if builder.add(layout, tick):
                return
            self._close()
            builder = self._builder
        self._oldest = tick
        builder.open(tick)
        builder.add(layout, tick)

    def emit_late(self, layout, tick):
        """As emit, for what was sampled so long ago that the open block may have been opened since."""
        self.emit(layout, tick)
        if tick_difference(tick, self._oldest) < 0:
            self._oldest = tick

    def _close(self):
        if self.waiting == QUEUE_BLOCKS - 1:
            # No buffer is free: the newest block is given up, so that what is queued stays whole.
            self._builders[self._open].is_open = False
            self.lost += 1
            return
        self._builders[self._open].is_open = False
        self._open = (self._open + 1) % QUEUE_BLOCKS
        self._builder = self._builders[self._open]
        self.waiting += 1

    def close_if_old(self, now):
        """Close the open block when its oldest record is old enough."""
        if self._builder.is_open and tick_difference(now, self._oldest) >= CLOSE_AGE_MS:
            self._close()

    def close_now(self):
        """Close the open block, whatever its age, for an orderly end."""
        if self._builder.is_open:
            self._close()

    def write_one(self, now):
        """Write the oldest waiting block, if there is one and the card may be tried; or do a step for the
        parity that comes first. That is not put off until a block waits, which would then come late.
        """
        self.wrote_parity = False
        self.is_busy = False
        if self._region is None or self.waiting == 0 and not self._parity.is_due(self._region.next):
            return
        if self._failing and tick_difference(now, self._retry_at) < 0:
            return
        # What waits comes before the event, and parity may fill the last sectors.
        if self._region.room() <= QUEUE_BLOCKS + _LAST_SECTORS + self._parity.depth and not self._full_noted:
            self._full_noted = True  # said now, because it must still find room itself
            self.events.note(_CARD_FULL, _CARD, self._number)
        try:
            place = self._region.prepare()
            if self._region.room() == 0:
                return
            is_parity = self._parity.is_due(place)
            if is_parity:
                self.is_busy = not self._parity.step(place)
                if self.is_busy:
                    return
                buffer = self._parity.buffer
            elif self.waiting == 0:
                return
            else:
                buffer = self._finished(place)
            self._region.write(buffer)
        except OSError as error:
            self._failed(error, now)
            return
        self.wrote_parity = is_parity
        if not is_parity:
            self.waiting -= 1
            self._number += 1
        self._time(tick_difference(self._board.ticks_ms(), now))
        if self._failing:
            self.events.note(_DEVICE_RETURNED, _CARD, self._failing)
            self._failing = 0
        if self.lost:
            self.events.note(_BLOCKS_LOST, _CARD, self.lost)
            self.lost = 0

    def _finished(self, place):
        # Number and place of the oldest block are known only now: a sector that refused was left out.
        builder = self._builders[(self._open - self.waiting) % QUEUE_BLOCKS]
        parity = self._parity
        builder.close(self._flight, self._boot, self._number, self.phase, place, parity.depth, parity.rate)
        return builder.buffer

    def _time(self, milliseconds):
        self.write_time_last = min(milliseconds, _COUNT_MAX)
        self.write_time_slowest = max(self.write_time_slowest, self.write_time_last)

    def _failed(self, error, now):
        self._failing += 1
        self.card_errors = min(self.card_errors + 1, _COUNT_MAX)
        self._retry_at = tick_add(now, RETRY_MS)
        if self._failing % TRIES == 0:
            self._region.skip()
        if self._failing == 1:
            self.events.note(_DEVICE_FAILED, _CARD, error_number(error))
