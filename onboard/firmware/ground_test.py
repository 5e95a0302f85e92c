# The ground test: at power-on with the test pin low, every output is on for a second in turn, and the console
# shows what the sensors say. The log goes on as ever, so that the whole chain is tested. Loaded only for it.

from onboard.firmware.scheduler import Task
from protocol.constant import const
from protocol.table import event_code

_GROUND_TEST = event_code("ground test")
_PERIOD_MS = const(1000)
_CLEAR = const(10)  # periods for people to keep clear


class GroundTestTask(Task):
    """Goes through the outputs, then goes on to show the readings.

    count: of the switches; outputs: the SwitchTask, None if there are no switches; pressure, gnss, air,
    power: the tasks with the latest readings, air None if there is none.
    """

    is_sampling = False

    def __init__(self, count, outputs, pressure, gnss, air, power, events):
        Task.__init__(self, _PERIOD_MS)
        self._count = count
        self._outputs = outputs
        self._pressure = pressure
        self._gnss = gnss
        self._air = air
        self._power = power
        self._events = events
        self._clear = 0
        self._next = 0  # the switch whose turn comes, from 0; one more than there are: all is done
        if outputs is not None:
            outputs.is_held = True
            self._clear = _CLEAR
            print("ground test: in", _CLEAR, "s every output goes on for a second, keep clear of what they drive")
        events.note(_GROUND_TEST, 1, 0)

    def step(self, now):
        number = self._next
        if self._clear:
            self._clear -= 1
        elif number <= self._count:
            self._next = number + 1
            if number > 0:
                self._outputs.set(number, False)
            if number < self._count:
                print("ground test: switch", number + 1, "on")
                self._outputs.set(number + 1, True)
            else:
                self._end()
        else:
            self._show()
        return 0

    def _end(self):
        if self._outputs is not None:
            self._outputs.is_held = False
        self._events.note(_GROUND_TEST, 0, 0)
        print("ground test: outputs done; now the readings, None is a sensor that is out")

    def _show(self):
        outside = None if self._air is None else self._air.outside_counts
        print("pressure", self._pressure.pressure_pa, "Pa, GNSS height", self._gnss.height_m, "m, raw counts:",
              "outside", outside, "battery", self._power.battery_counts, "board", self._power.board_counts)
