# Events and texts: what happened, as records.

from protocol.manifest import Pieces
from protocol.record import Layout


class EventLog:
    """Writes event records with the tick at which they are noted."""

    def __init__(self, store, board):
        self._store = store
        self._board = board
        self._layout = Layout("event")
        self._code = self._layout.index("code")
        self._subject = self._layout.index("subject")
        self._detail = self._layout.index("detail")
        self.downlink = None  # told of each event by take_event(values, tick), if there is one
        self._text = Layout("text")  # made now: when there is something to say, memory may be short

    def note(self, code, subject, detail):
        """Log an event; see protocol/table.py for the codes and what their numbers mean."""
        values = self._layout.values
        values[self._code] = code
        values[self._subject] = subject
        values[self._detail] = detail
        now = self._board.ticks_ms()
        self._store.emit(self._layout, now)
        if self.downlink is not None:
            self.downlink.take_event(values, now)

    def say(self, message):
        """Log a short message, cut into as many text records as it takes."""
        pieces = Pieces(self._text, "characters", message.encode())
        pieces.restart()
        while pieces.pending():
            pieces.fill()
            self._store.emit(self._text, self._board.ticks_ms())


def error_number(error):
    """The number of an OSError; 0 if it carries only a message."""
    number = error.args[0] if error.args else 0
    return number if isinstance(number, int) else 0


def failure_text(task, error):
    """What is logged of an exception that no task expected: the same words on every interpreter."""
    # What an exception prints differs between interpreters, and so do the subclasses of OSError.
    name = "OSError" if isinstance(error, OSError) else type(error).__name__
    number = error_number(error)
    return ("{}: {}({})" if number else "{}: {}").format(type(task).__name__, name, number)
