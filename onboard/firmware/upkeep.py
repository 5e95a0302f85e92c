# The tasks that concern the logger itself: phase, health, manifest, card.

from onboard.firmware.phase import barometric_height_m
from onboard.firmware.scheduler import Task
from protocol.constant import const
from protocol.manifest import Pieces
from protocol.record import Layout

_PHASE_CHANGED = const(2)  # the event of protocol/table.py; a test compares them
_PHASE_PERIOD_MS = const(1000)
_PIECE_PERIOD_MS = const(20)  # between two pieces of a manifest, so that a repeat does not crowd out samples
_PARITY_STEP_MS = const(5)  # between two steps for a parity block, so that closed blocks do not wait long
_AGE_PERIOD_MS = const(50)  # how often the open block's age is looked at

# The places of the fields in a health record; a test compares them with protocol/table.py.
_QUEUE_FILL = const(0)
_MISSED_SAMPLES = const(1)
_WRITE_TIME_LAST = const(2)
_WRITE_TIME_SLOWEST = const(3)
_CARD_ERRORS = const(4)
_FREE_HEAP = const(5)
_RESET_CAUSE = const(6)


class PhaseTask(Task):
    """Feeds the phase tracker once a second and logs its changes."""

    def __init__(self, tracker, pressure, gnss, store, events):
        Task.__init__(self, _PHASE_PERIOD_MS)
        self._tracker = tracker
        self._pressure = pressure
        self._gnss = gnss
        self._store = store
        self._events = events

    def step(self, now):
        pressure_pa = self._pressure.pressure_pa
        barometer_height = None if pressure_pa is None else barometric_height_m(pressure_pa)
        gnss_height = self._gnss.height_m if self._gnss.fresh else None
        self._gnss.fresh = False
        if self._tracker.step(barometer_height, gnss_height):
            self._store.phase = self._tracker.phase
            self._events.note(_PHASE_CHANGED, self._tracker.phase, self._tracker.height())
        return 0


class HealthTask(Task):
    """Logs how the logger is doing, and begins the counts anew."""

    def __init__(self, period, scheduler, store, board):
        Task.__init__(self, period)
        self._scheduler = scheduler
        self._store = store
        self._board = board
        self._layout = Layout("health")

    def step(self, now):
        values = self._layout.values
        store = self._store
        values[_QUEUE_FILL] = store.waiting
        values[_MISSED_SAMPLES] = min(self._scheduler.missed, 65534)
        values[_WRITE_TIME_LAST] = store.write_time_last
        values[_WRITE_TIME_SLOWEST] = store.write_time_slowest
        values[_CARD_ERRORS] = store.card_errors
        free = self._board.free_heap()
        values[_FREE_HEAP] = self._layout.missing[_FREE_HEAP] if free is None else free
        values[_RESET_CAUSE] = self._board.reset_cause
        self._scheduler.missed = 0
        store.write_time_slowest = 0
        store.card_errors = 0
        self._store.emit(self._layout, now)
        return 0


class ManifestTask(Task):
    """Logs the manifest at the start of the boot and then every period, piece by piece."""

    is_sampling = False

    def __init__(self, period, texts, store):
        Task.__init__(self, period)
        self.layout = Layout("manifest")
        self.pieces = Pieces(self.layout, "text", *texts)
        self._store = store

    def log_whole(self, board):
        """Log all pieces at once: the start of a boot."""
        self.pieces.restart()
        while self.pieces.pending():
            self.pieces.fill()
            self._store.emit(self.layout, board.ticks_ms())
            self._store.write_one(board.ticks_ms())
            while self._store.is_busy:  # the log's place of parity may fall into the start of a boot
                self._store.write_one(board.ticks_ms())

    def step(self, now):
        if not self.pieces.pending():
            self.pieces.restart()
        self.pieces.fill()
        self._store.emit(self.layout, now)
        return _PIECE_PERIOD_MS if self.pieces.pending() else 0


class CardTask(Task):
    """Closes blocks that are old enough and writes one closed block at a time."""

    is_sampling = False
    is_vital = True

    def __init__(self, store):
        Task.__init__(self, _AGE_PERIOD_MS)
        self._store = store

    def step(self, now):
        self._store.close_if_old(now)
        self._store.write_one(now)
        return _PARITY_STEP_MS if self._store.is_busy or self._store.wrote_parity else 0
