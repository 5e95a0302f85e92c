# The task of the thermometers on the 1-Wire bus.

from onboard.firmware.scheduler import Task
from onboard.firmware.tasks import Device
from protocol.constant import const
from protocol.record import Layout

_BETWEEN_MS = const(5)  # from one probe to the next: reading one takes 11 ms, and others want their turn
_OFFSET = const(32768)  # of a probe's counts, which the record holds as a signed number


class ProbeTask(Task):
    """All probes convert at once; then each is read in a step of its own. A record a probe, of the same time.

    probes: dict number -> thermometer with start() and counts(); they share one conversion.
    The events are about the probes as a whole; which of them failed is seen from the record without a
    reading.
    """

    def __init__(self, period, probes, store, events):
        Task.__init__(self, period)
        self._numbers = sorted(probes)
        self._probes = [probes[number] for number in self._numbers]
        self._store = store
        self._device = Device("probe", events)
        self._layout = Layout("probe")
        self._probe = self._layout.index("probe")
        self._temperature = self._layout.index("temperature_counts")
        self._tick = 0
        self._next = -1  # probe to be read; -1: none, a new conversion is due
        self._error = None  # the first of this conversion

    def step(self, now):
        i = self._next
        self._next = -1  # unless this step gets as far as to say otherwise
        if i < 0:
            return self._begin(now)
        self._read(i)
        if i + 1 < len(self._probes):
            self._next = i + 1
            return _BETWEEN_MS
        self._device.told(self._error)
        return 0

    def _begin(self, now):
        self._tick = now
        self._error = None
        try:
            wait = self._probes[0].start()
            self._next = 0
            return wait
        except OSError as error:
            for i in range(len(self._probes)):
                self._emit(i, self._layout.missing[self._temperature])
            self._device.failed(error)
        return 0

    def _read(self, i):
        try:
            counts = self._probes[i].counts() - _OFFSET
        except OSError as error:
            self._error = self._error or error
            counts = self._layout.missing[self._temperature]
        self._emit(i, counts)

    def _emit(self, i, counts):
        values = self._layout.values
        values[self._probe] = self._numbers[i]
        values[self._temperature] = counts
        self._store.emit(self._layout, self._tick)
