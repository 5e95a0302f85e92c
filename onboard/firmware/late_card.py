# A card that was not there at power-on: it is looked for again, so that the flight is not lost.

from onboard.firmware.resume import resume
from onboard.firmware.scheduler import Task
from protocol.constant import const
from protocol.manifest import Pieces, end_line
from protocol.table import DEVICES, event_code

_PERIOD_MS = const(10000)  # between two attempts
_STEP_MS = const(5)  # between two steps of one


class LateCard(Task):
    """Looks for the log every 10 s, a step at a time, and begins it when it is there.

    region: a LogRegion made to be found later; logger: a Logger; flight: 4 bytes; board: see Logger.
    """

    is_sampling = False

    def __init__(self, region, logger, flight, board):
        Task.__init__(self, _PERIOD_MS)
        self._region = region
        self._logger = logger
        self._flight = flight
        self._board = board
        self._steps = None
        self._failures = 1
        self.manifest = None  # the ManifestTask
        self.texts = None  # and the manifest's texts

    def step(self, now):
        if self._region is None:
            return 0
        if self._steps is None:
            self._steps = resume(self._region, self._flight)
        try:
            next(self._steps)
            return _STEP_MS
        except StopIteration as end:
            boot, phase = end.value
            self._begin(boot, phase)
        except OSError as error:
            self._logger.card_error = error
            self._failures += 1
        self._steps = None
        return 0

    def _begin(self, boot, phase):
        logger = self._logger
        events = logger.events
        if phase and not logger.tracker.phase:
            logger.tracker.phase = logger.store.phase = phase
        logger.card_error = None
        logger.store.take(self._region, boot)
        self.manifest.pieces = Pieces(self.manifest.layout, "text", *renumbered(self.texts, boot))
        self.manifest.begin(self._board.ticks_ms())
        events.note(event_code("booted"), self._board.reset_cause, self._region.next)
        events.note(event_code("phase changed"), logger.tracker.phase, 0)
        events.note(event_code("device returned"), DEVICES.index("card"), self._failures)
        self._region = None


def renumbered(texts, boot):
    """The manifest's texts for another boot number."""
    head, table, tail = texts
    start = head.find(b"\nboot ") + len(b"\nboot ")
    head = head[:start] + str(boot).encode() + head[head.find(b"\n", start) :]
    tail = bytes(tail)
    tail = tail[: tail.rfind(b"end ")]
    return head, table, tail + end_line(head, tail)
