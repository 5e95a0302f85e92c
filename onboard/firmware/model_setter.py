# Sets the dynamic model of a GNSS receiver, and tells the log whether the receiver agreed.

from onboard.firmware.ubx import ACKNOWLEDGED, REFUSED, AckReader, nav5_frame, valset_frame
from protocol.constant import const
from protocol.table import DEVICES, event_code

_ANSWER_MS = const(1000)  # an answer waits until the sentences of its second are out
_EPOCHS_BETWEEN = const(60)  # a fix that comes and goes is no reason to ask more often
_TRIES = const(3)

_GNSS = DEVICES.index("gnss")
_SET = event_code("receiver set")
_NOT_SET = event_code("receiver not set")
_IS_REFUSED = const(1)
_NO_ANSWER = const(2)
_WARNING = "The GNSS receiver is not set to flight: no position above 12 km. Check its type and its RX wire."


class ModelSetter:
    """Asks the receiver to take the dynamic model until it says yes, three times in both ways that there are.

    Begins at once, and again when a receiver comes back that was silent or has just lost its fix: it may have
    lost its supply for a moment, and with it what it was told.
    """

    def __init__(self, uart, model, events):
        self._uart = uart
        self._model = model
        self._events = events
        self._frames = nav5_frame(model), valset_frame(model)
        self.acks = AckReader()
        self._was_told = False  # the warning, which is said once
        self._begin()

    def _begin(self):
        self.is_asking = True
        self.acks.restart()
        self._asked = 0
        self._waited_ms = _ANSWER_MS
        self._epochs = 0  # heard since it was asked
        self._is_deaf = False  # it was asked in vain and may not have been there at all
        self._reason = _NO_ANSWER

    def go_on(self, elapsed_ms):
        """Look at the answer, ask once more, or give up."""
        answer = self.acks.answer
        if answer == ACKNOWLEDGED:
            self.is_asking = False
            self._events.note(_SET, _GNSS, self._model)
            return
        if answer == REFUSED:
            self._reason = _IS_REFUSED
        self._waited_ms += elapsed_ms
        if self._waited_ms < _ANSWER_MS:
            return
        self._waited_ms = 0
        if self._asked == 2 * _TRIES:
            self._give_up()
            return
        self.acks.restart()
        frame = self._frames[self._asked & 1]
        self._asked += 1
        try:
            self._uart.write(frame)
        except OSError:
            pass  # not sent, so not answered: asked again

    def _give_up(self):
        self.is_asking = False
        self._is_deaf = self._epochs == 0
        self._events.note(_NOT_SET, _GNSS, self._reason)
        if not self._was_told:
            self._was_told = True
            self._events.say(_WARNING)

    def heard(self, was_silent, has_lost_fix):
        """The receiver sent an epoch. was_silent: the first in a while; has_lost_fix: the first without."""
        self._epochs += 1
        may_be_reset = was_silent or self._is_deaf or has_lost_fix and self._epochs > _EPOCHS_BETWEEN
        if may_be_reset and not self.is_asking:
            self._begin()
