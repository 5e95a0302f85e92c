# The outputs of the virtual board. Every change of a level is a line of outputs.csv: real time in ms since
# the start of the tape, pin, level.

FILE_NAME = "outputs.csv"


class Output:
    """A pin that drives something. changed(pin, level): called when the level changes."""

    def __init__(self, pin, level, changed):
        self._pin = pin
        self._level = level
        self._changed = changed
        changed(pin, level)

    def value(self, level):
        """Set the level, 0 or 1."""
        if level != self._level:
            self._level = level
            self._changed(self._pin, level)


class Outputs:
    """All outputs of a board; the file is in the folder."""

    def __init__(self, folder, clock):
        self._clock = clock
        self._file = open(folder + "/" + FILE_NAME, "a")

    def output(self, pin, level):
        """Make a pin an output, at that level from the start."""
        return Output(pin, level, self._changed)

    def _changed(self, pin, level):
        self._file.write("{},{},{}\n".format(self._clock.world_ms(), pin, level))
        self._file.flush()
