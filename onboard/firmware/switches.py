# Switches: outputs that are on while all their conditions hold. Everything is compared in whole numbers; the
# ground made thresholds in raw counts out of volts and degrees (ground/mission/thresholds.py).

from onboard.firmware.phase import FALLING
from onboard.firmware.scheduler import Task
from onboard.firmware.switch_check import SOURCES
from protocol.constant import const
from protocol.table import event_code
from protocol.tick import tick_add, tick_difference

_CHANGED = event_code("switch changed")
_LOOK_MS = const(1000)  # between two looks at the conditions
_BLINK_STEP_MS = const(50)  # between two looks at the blinking
_SETTLE_MS = const(3000)  # after the boot, until every sensor has had its turn
_LONGEST_S = const(1000000)  # where the seconds in a phase stop being counted
_NO_HEIGHT = const(10000000)  # higher than any condition believes

# Places in a condition's list: the five numbers of the configuration, then whether it holds.
_SOURCE = const(0)
_ON_AT = const(1)
_OFF_AT = const(2)
_LOWEST = const(3)
_HIGHEST = const(4)
_HOLDS = const(5)


class Switch:
    """One output and its conditions.

    settings: its entry in the configuration. output: machine.Pin or the like, None if it could not be made.
    """

    def __init__(self, settings, output):
        self.is_on = False
        self.output = output
        self._level = -1  # of the pin; -1: not known
        self._inverted = settings["inverted"]
        self._without_data = bool(settings["without_data"])
        self._phases = settings["phases"]
        self._after_s = settings["after_s"]
        self._until_landed_s = settings.get("until_landed_s", -1)
        self._conditions = [[SOURCES.index(c[0])] + c[1:] + [False] for c in settings["conditions"]]
        self._blink_on, self.blink_period = settings["blink"]

    def decide(self, phase, seconds, readings):
        """True if it should be on.

        seconds: since the phase was entered; readings: one number a source, in the order of SOURCES.
        A reading out of a condition's range is none: then `without_data` decides, unless another condition
        says no.
        """
        is_kept = self._until_landed_s >= 0 and phase >= FALLING
        answer = phase in self._phases and seconds >= self._after_s
        if is_kept:
            answer = phase == FALLING or seconds < self._until_landed_s
        is_missing = False
        for condition in self._conditions:
            source = condition[_SOURCE]
            if is_kept and source == 0:
                continue
            reading = readings[source]
            if condition[_LOWEST] <= reading <= condition[_HIGHEST]:
                condition[_HOLDS] = _holds(condition, reading)
                answer = answer and condition[_HOLDS]
            else:
                condition[_HOLDS] = False
                is_missing = True
        return answer and (self._without_data or not is_missing)

    def show(self, now):
        """Set the pin for this tick. Whatever the pin raises comes through."""
        level = self.is_on
        if level and self.blink_period:
            level = now % self.blink_period < self._blink_on
        level = level ^ self._inverted
        if level != self._level and self.output is not None:
            self._level = -1
            self.output.value(level)
            self._level = level


def _holds(condition, reading):
    on_at = condition[_ON_AT]
    off_at = condition[_OFF_AT]
    if on_at > off_at:
        return reading > off_at if condition[_HOLDS] else reading >= on_at
    return reading < off_at if condition[_HOLDS] else reading <= on_at


def make_switches(settings, board, events):
    """The list of Switch of a board. settings: list of entries of the configuration; board: see Logger."""
    switches = []
    for entry in settings:
        try:
            output = board.output(entry["pin"], entry["inverted"])
        except Exception as error:  # a pin that the port refuses; the others work
            output = None
            events.say("output on pin " + str(entry["pin"]) + ": " + repr(error))
        switches.append(Switch(entry, output))
    return switches


class SwitchTask(Task):
    """Sets the outputs, and logs every change of a switch; blinking is no change.

    tracker: PhaseTracker; air, power: the tasks with the latest counts, None if they are not on this board;
    seconds: since the phase was entered, at boot.
    """

    is_sampling = False

    def __init__(self, switches, tracker, air, power, events, seconds):
        blinks = any([switch.blink_period for switch in switches])
        Task.__init__(self, _BLINK_STEP_MS if blinks else _LOOK_MS)
        self.switches = switches
        self._tracker = tracker
        self._air = air
        self._power = power
        self._events = events
        self._readings = [_NO_HEIGHT] * len(SOURCES)
        self._phase = tracker.phase
        self._seconds = seconds
        self._second = None  # tick at which the last whole second was over
        self._settling = True
        self.is_held = False  # True while the ground test says what is on

    def step(self, now):
        if self._second is None:
            self._second = now
        waited = tick_difference(now, self._second)
        if waited >= (_SETTLE_MS if self._settling else _LOOK_MS):
            self._settling = False
            self._count(now, waited)
            if not self.is_held:
                self._look()
        self._show(now)
        return 0

    def set(self, number, is_on):
        """Switch one on or off, by its number from 1; the pin follows with the next step."""
        self.switches[number - 1].is_on = is_on
        self._events.note(_CHANGED, number, 1 if is_on else 0)

    def _count(self, now, waited):
        if self._tracker.phase != self._phase:
            self._phase = self._tracker.phase
            self._seconds = 0
        elif self._seconds < _LONGEST_S:
            self._seconds += waited // 1000
        self._second = tick_add(now, -(waited % 1000))

    def _look(self):
        tracker = self._tracker
        readings = self._readings
        has_height = tracker.gnss.is_alive or tracker.barometer.is_alive
        readings[0] = tracker.height() if has_height else _NO_HEIGHT
        readings[1] = self._power.battery_counts
        if self._air is not None:
            readings[2] = self._air.outside_counts
        readings[3] = self._power.board_counts
        number = 0
        for switch in self.switches:
            number += 1
            is_on = switch.decide(self._phase, self._seconds, readings)
            if is_on != switch.is_on:
                self.set(number, is_on)

    def _show(self, now):
        failure = None
        for switch in self.switches:
            try:
                switch.show(now)
            except Exception as error:  # the other outputs are set all the same
                failure = error
        if failure is not None:
            raise failure
