# The tasks of the logger: each takes the samples of one record kind, step by step.
#
# A reading that fails is logged as missing; the failure and the return are events. A barometer or motion chip
# that failed is started anew before it is asked again: it may have lost its supply for a moment.

from onboard.firmware.analog import mean_u16
from onboard.firmware.events import error_number
from onboard.firmware.scheduler import Task
from protocol.constant import const
from protocol.record import Layout
from protocol.table import DEVICES
from protocol.tick import tick_difference

# What a task does between two steps.
_IDLE = const(0)
_RESETTING = const(1)
_MEASURING = const(2)
_CHIP = const(3)  # waits for the humidity chip
_THERMOMETER = const(4)  # waits for the thermometer

# Events of protocol/table.py; a test compares them.
_DEVICE_FAILED = const(3)
_DEVICE_RETURNED = const(4)

_PATIENCE_MAX = const(16)  # good readings in a row
_IN_A_ROW = const(10)  # failures after which a device is asked less often
_REST_MS = const(400)


class Device:
    """Keeps account of one device's failures and tells the events.

    A device that comes and goes must not fill the log: each return is told after twice as many good readings as the
    one before, until it works for longer.
    """

    def __init__(self, name, events):
        self._number = DEVICES.index(name)
        self._events = events
        self.failures = 0  # since it was last said to work
        self._in_a_row = 0
        self._good = 0  # readings in a row
        self._patience = 1  # of them, until a return is told
        self._asked_at = 0

    def failed(self, error):
        """Note a failed reading."""
        self.failures += 1
        self._in_a_row += 1
        self._good = 0
        if self.failures == 1:
            self._events.note(_DEVICE_FAILED, self._number, error_number(error))

    def rests(self, now):
        """True if a device that failed many times in a row should be left alone now: a bus that is held down takes the
        time of all others. That counts as a failure too.
        """
        if self._in_a_row < _IN_A_ROW:
            return False
        if tick_difference(now, self._asked_at) >= _REST_MS:
            self._asked_at = now
            return False
        self.failures += 1
        return True

    def told(self, error):
        """Note a reading that failed with an error, or that came (None)."""
        if error is None:
            self.works()
        else:
            self.failed(error)

    def works(self):
        """Note a reading that came."""
        self._in_a_row = 0
        if self.failures:
            self._good += 1
            if self._good >= self._patience:
                self._events.note(_DEVICE_RETURNED, self._number, self.failures)
                self.failures = 0
                self._good = 0
                self._patience = min(2 * self._patience, _PATIENCE_MAX)
        elif self._patience > 1:
            self._good += 1
            if self._good >= _PATIENCE_MAX:
                self._patience = 1


def read_adc(adc, layout, field):
    """Put the mean reading of an ADC into a field, the missing value if it fails. Returns the error, or None."""
    if adc is None:
        return None  # not on this board: the field stays missing
    try:
        layout.values[field] = mean_u16(adc)
    except OSError as error:
        layout.values[field] = layout.missing[field]
        return error


class PressureTask(Task):
    """Pressure, and temperature of the barometer; keeps the last pressure for the phase.

    chip: a barometer's driver: words, reset_ms, reset(), read_prom(), start(), proceed(), pressure_pa().
    """

    def __init__(self, period, chip, store, events, tell_words):
        Task.__init__(self, period)
        self._chip = chip
        self._store = store
        self._tell_words = tell_words  # called with the calibration words if they come after the manifest
        self._device = Device("barometer", events)
        self._layout = Layout("pressure")
        self._pressure = self._layout.index("pressure_counts")
        self._temperature = self._layout.index("temperature_counts")
        self._tick = 0
        self._state = _IDLE
        self._restart = chip.words is None
        self.pressure_pa = None  # of the last sample, None if it failed

    def step(self, now):
        state = self._state
        self._state = _IDLE  # unless this step gets as far as to say otherwise
        try:
            if state != _IDLE or not self._device.rests(now):
                return self._advance(now, state)
            self._tick = now
        except OSError as error:
            self._device.failed(error)
            self._restart = True
        self._layout.clear()
        self._finish(None)
        return 0

    def _advance(self, now, state):
        chip = self._chip
        if state == _MEASURING:
            values = self._layout.values
            wait = chip.proceed(values, self._pressure, self._temperature)
            if wait:
                self._state = _MEASURING
                return wait
            self._device.works()
            self._finish(chip.pressure_pa(values[self._pressure], values[self._temperature]))
            return 0
        if state == _RESETTING:
            if chip.words is None:
                chip.read_prom()
                self._tell_words(chip.words)
            self._restart = False
        else:
            self._tick = now
            if self._restart:
                chip.reset()
                self._state = _RESETTING
                return chip.reset_ms
        wait = chip.start()
        self._state = _MEASURING
        return wait

    def _finish(self, pressure_pa):
        self.pressure_pa = pressure_pa
        self._store.emit(self._layout, self._tick)


class NoBarometer:
    """Stands for the PressureTask of a board without a barometer."""

    pressure_pa = None


class AirTask(Task):
    """Outside thermometer and humidity chip. Each may fail without the other, or be None: not on this board.

    thermometer: start() -> ms until it is ready, 0: at once; counts() -> 0 .. 65534.
    """

    def __init__(self, period, thermometer, chip, store, events):
        Task.__init__(self, period)
        self._thermometer = thermometer
        self._chip = chip
        self._store = store
        self._thermometer_account = Device("outside_temperature", events)
        self._chip_account = Device("humidity", events)
        self._layout = Layout("air")
        self._temperature = self._layout.index("temperature_counts")
        self._humidity = self._layout.index("humidity_counts")
        self._chip_temperature = self._layout.index("humidity_temperature_counts")
        self._tick = 0
        self._state = _IDLE
        self._thermometer_wait = 0  # ms until its reading is ready; 0: there is none to come
        self._chip_wait = 0
        self.outside_counts = self._layout.missing[self._temperature]  # of the last sample

    def step(self, now):
        state = self._state
        self._state = _IDLE  # unless this step gets as far as to say otherwise
        if state == _IDLE:
            self._begin(now)
            if self._chip_wait:
                self._state = _CHIP
                return self._chip_wait
        if state == _CHIP:
            self._read_chip()
        if state != _THERMOMETER:
            wait = self._thermometer_wait - self._chip_wait
            if wait > 0:
                self._state = _THERMOMETER
                return wait
        if self._thermometer_wait:
            self._read_thermometer()
        self.outside_counts = self._layout.values[self._temperature]
        self._store.emit(self._layout, self._tick)
        return 0

    def _begin(self, now):
        self._tick = now
        self._layout.clear()
        self._thermometer_wait = 0
        self._chip_wait = 0
        if self._thermometer is not None:
            try:
                self._thermometer_wait = self._thermometer.start()
                if not self._thermometer_wait:
                    self._read_thermometer()
            except OSError as error:
                self._thermometer_account.failed(error)
        if self._chip is not None:
            try:
                self._chip_wait = self._chip.convert()
            except OSError as error:
                self._chip_account.failed(error)

    def _read_thermometer(self):
        try:
            self._layout.values[self._temperature] = self._thermometer.counts()
            self._thermometer_account.works()
        except OSError as error:
            self._thermometer_account.failed(error)

    def _read_chip(self):
        try:
            self._chip.fetch()
            values = self._layout.values
            values[self._humidity] = min(self._chip.humidity, 65534)
            values[self._chip_temperature] = min(self._chip.temperature, 65534)
            self._chip_account.works()
        except OSError as error:
            self._chip_account.failed(error)


class MotionTask(Task):
    """Accelerations and rates."""

    def __init__(self, period, chip, store, events):
        Task.__init__(self, period)
        self._chip = chip
        self._store = store
        self._device = Device("motion", events)
        self._layout = Layout("motion")
        self._acceleration = self._layout.index("acceleration_x_counts")  # y and z follow, here and below
        self._rate = self._layout.index("rate_x_counts")
        self._started = False

    def step(self, now):
        if self._device.rests(now):
            self._store.emit(self._layout, now)  # it is clear since the failure
            return 0
        try:
            if not self._started:
                self._chip.start()
                self._started = True
            self._chip.read_into(self._layout.values, self._acceleration, self._rate)
            self._device.works()
        except OSError as error:
            self._started = False
            self._device.failed(error)
            self._layout.clear()
        self._store.emit(self._layout, now)
        return 0


class PowerTask(Task):
    """Battery and rail on the ADC, board temperature from the motion chip. What is None is not on this board."""

    def __init__(self, period, battery, rail, chip, store, events):
        Task.__init__(self, period)
        self._device = Device("power", events)
        self._battery = battery
        self._rail = rail
        self._chip = chip
        self._store = store
        self._layout = Layout("power")
        self._battery_counts = self._layout.index("battery_counts")
        self._rail_counts = self._layout.index("rail_counts")
        self._temperature = self._layout.index("board_temperature_counts")
        self.battery_counts = self._layout.missing[self._battery_counts]  # of the last sample
        self.board_counts = self._layout.missing[self._temperature]

    def step(self, now):
        values = self._layout.values
        battery_error = read_adc(self._battery, self._layout, self._battery_counts)
        rail_error = read_adc(self._rail, self._layout, self._rail_counts)
        self._device.told(battery_error or rail_error)
        if self._chip is not None:
            try:
                values[self._temperature] = self._chip.temperature()
            except OSError:  # the motion task, on the same chip, tells the event
                values[self._temperature] = self._layout.missing[self._temperature]
        self.battery_counts = values[self._battery_counts]
        self.board_counts = values[self._temperature]
        self._store.emit(self._layout, now)
        return 0
