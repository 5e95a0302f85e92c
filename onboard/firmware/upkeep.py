# The tasks that concern the logger itself: phase, health, manifest, card.

from onboard.firmware.phase import barometric_height_m
from onboard.firmware.scheduler import Task
from protocol.constant import const
from protocol.manifest import Pieces
from protocol.record import Layout
from protocol.table import event_code

_PHASE_CHANGED = event_code("phase changed")
_PHASE_PERIOD_MS = const(1000)
_PIECE_PERIOD_MS = const(20)  # between two pieces of a manifest, so that a repeat does not crowd out samples
_PARITY_STEP_MS = const(5)  # between two steps for a parity block, so that closed blocks do not wait long
_AGE_PERIOD_MS = const(50)  # how often the open block's age is looked at


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
        index = self._layout.index
        self._fields = [
            index(name)
            for name in (
                "queue_fill", "missed_samples", "write_time_last", "write_time_slowest", "card_errors",
                "free_heap", "reset_cause",
            )
        ]

    def step(self, now):
        values = self._layout.values
        fields = self._fields
        store = self._store
        values[fields[0]] = store.waiting
        values[fields[1]] = min(self._scheduler.missed, 65534)
        values[fields[2]] = store.write_time_last
        values[fields[3]] = store.write_time_slowest
        values[fields[4]] = store.card_errors
        free = self._board.free_heap()
        values[fields[5]] = self._layout.missing[fields[5]] if free is None else free
        values[fields[6]] = self._board.reset_cause
        self._scheduler.missed = 0
        store.write_time_slowest = 0
        store.card_errors = 0
        self._store.emit(self._layout, now)
        return 0


class ManifestTask(Task):
    """Logs the manifest at the start of the boot and then every period, piece by piece."""

    is_sampling = False

    def __init__(self, period, text, store):
        Task.__init__(self, period)
        self._layout = Layout("manifest")
        self._pieces = Pieces(self._layout, "text", text)
        self._store = store

    def log_whole(self, board):
        """Log all pieces at once: the start of a boot."""
        self._pieces.restart()
        while self._pieces.pending():
            self._pieces.fill()
            self._store.emit(self._layout, board.ticks_ms())
            self._store.write_one(board.ticks_ms())
            while self._store.is_busy:  # the log's place of parity may fall into the start of a boot
                self._store.write_one(board.ticks_ms())

    def step(self, now):
        if not self._pieces.pending():
            self._pieces.restart()
        self._pieces.fill()
        self._store.emit(self._layout, now)
        return _PIECE_PERIOD_MS if self._pieces.pending() else 0


class CardTask(Task):
    """Closes blocks that are old enough and writes one closed block at a time."""

    is_sampling = False

    def __init__(self, store):
        Task.__init__(self, _AGE_PERIOD_MS)
        self._store = store

    def step(self, now):
        self._store.close_if_old(now)
        self._store.write_one(now)
        return _PARITY_STEP_MS if self._store.is_busy else 0
