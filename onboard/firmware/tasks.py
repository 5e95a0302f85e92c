# The tasks of the logger: each takes the samples of one record kind, step by step.
#
# A reading that fails is logged as missing; the failure and the return are events. A barometer or motion chip
# that failed is started anew before it is asked again: it may have lost its supply for a moment.

from onboard.firmware.analog import mean_u16
from onboard.firmware.events import error_number
from onboard.firmware.ms5611 import CONVERSION_MS as PRESSURE_MS
from onboard.firmware.ms5611 import RESET_MS
from onboard.firmware.nmea import NmeaReader
from onboard.firmware.scheduler import Task
from onboard.firmware.sht3x import CONVERSION_MS as HUMIDITY_MS
from protocol.constant import const
from protocol.record import Layout
from protocol.table import DEVICES, event_code
from protocol.tick import tick_add

_GNSS_POLL_MS = const(50)  # at 9600 baud 48 characters come in this time; boards buffer 256 and more
_GNSS_PAUSE_MS = const(150)  # a silence of this length ends an epoch
_GNSS_SILENT_MS = const(10000)  # a receiver without an epoch for this long has failed
_GNSS_READ_MAX = const(512)  # bytes that one poll takes at most

_DEVICE_FAILED = event_code("device failed")
_DEVICE_RETURNED = event_code("device returned")
_TIMEOUT = OSError(110)  # ETIMEDOUT; made once, since raising would allocate


class Device:
    """Keeps account of one device's failures and tells the events."""

    def __init__(self, name, events):
        self._number = DEVICES.index(name)
        self._events = events
        self.failures = 0

    def failed(self, error):
        """Note a failed reading."""
        self.failures += 1
        if self.failures == 1:
            self._events.note(_DEVICE_FAILED, self._number, error_number(error))

    def told(self, error):
        """Note a reading that failed with an error, or that came (None)."""
        if error is None:
            self.works()
        else:
            self.failed(error)

    def works(self):
        """Note a reading that came."""
        if self.failures:
            self._events.note(_DEVICE_RETURNED, self._number, self.failures)
            self.failures = 0


def read_adc(adc, layout, field):
    """Put the mean reading of an ADC into a field, the missing value if it fails. Returns the error, or None."""
    try:
        layout.values[field] = mean_u16(adc)
    except OSError as error:
        layout.values[field] = layout.missing[field]
        return error


class PressureTask(Task):
    """Pressure, then temperature of the barometer; keeps the last pressure for the phase."""

    def __init__(self, period, chip, store, events, tell_words):
        Task.__init__(self, period)
        self._chip = chip
        self._store = store
        self._tell_words = tell_words  # called with the calibration words if they come after the manifest
        self._device = Device("barometer", events)
        self._layout = Layout("pressure")
        self._d1 = self._layout.index("pressure_counts")
        self._d2 = self._layout.index("temperature_counts")
        self._tick = 0
        self._state = 0
        self._restart = chip.words is None
        self.pressure_pa = None  # of the last sample, None if it failed

    def step(self, now):
        try:
            return self._advance(now)
        except OSError as error:
            self._device.failed(error)
            self._restart = True
            self._layout.clear()
            self._finish(None)
            return 0

    def _advance(self, now):
        chip = self._chip
        values = self._layout.values
        if self._state == 0:
            self._tick = now
            if self._restart:
                chip.reset()
                self._state = 3
                return RESET_MS
            return self._begin()
        if self._state == 1:
            values[self._d1] = chip.read_counts()
            chip.convert_temperature()
            self._state = 2
            return PRESSURE_MS
        if self._state == 3:
            if chip.words is None:
                chip.read_prom()
                self._tell_words(chip.words)
            self._restart = False
            return self._begin()
        values[self._d2] = chip.read_counts()
        self._device.works()
        self._finish(chip.pressure_pa(values[self._d1], values[self._d2]))
        return 0

    def _begin(self):
        self._chip.convert_pressure()
        self._state = 1
        return PRESSURE_MS

    def _finish(self, pressure_pa):
        self._state = 0
        self.pressure_pa = pressure_pa
        self._store.emit(self._layout, self._tick)


class AirTask(Task):
    """Outside thermometer on the ADC, humidity chip on I2C. One may fail without the other."""

    def __init__(self, period, adc, chip, store, events):
        Task.__init__(self, period)
        self._adc = adc
        self._chip = chip
        self._store = store
        self._device = Device("humidity", events)
        self._thermometer = Device("outside_temperature", events)
        self._layout = Layout("air")
        self._temperature = self._layout.index("temperature_counts")
        self._humidity = self._layout.index("humidity_counts")
        self._chip_temperature = self._layout.index("humidity_temperature_counts")
        self._tick = 0
        self._converting = False

    def step(self, now):
        if not self._converting:
            self._tick = now
            self._layout.clear()
            self._thermometer.told(read_adc(self._adc, self._layout, self._temperature))
            try:
                self._chip.convert()
            except OSError as error:
                self._device.failed(error)
                self._store.emit(self._layout, self._tick)
                return 0
            self._converting = True
            return HUMIDITY_MS
        self._converting = False
        try:
            self._chip.fetch()
            values = self._layout.values
            values[self._humidity] = min(self._chip.humidity, 65534)
            values[self._chip_temperature] = min(self._chip.temperature, 65534)
            self._device.works()
        except OSError as error:
            self._device.failed(error)
        self._store.emit(self._layout, self._tick)
        return 0


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
    """Battery and rail on the ADC, board temperature from the motion chip."""

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

    def step(self, now):
        values = self._layout.values
        battery_error = read_adc(self._battery, self._layout, self._battery_counts)
        rail_error = read_adc(self._rail, self._layout, self._rail_counts)
        self._device.told(battery_error or rail_error)
        try:
            values[self._temperature] = self._chip.temperature()
        except OSError:  # the motion task, on the same chip, tells the event
            values[self._temperature] = self._layout.missing[self._temperature]
        self._store.emit(self._layout, now)
        return 0


class GnssTask(Task):
    """Polls the receiver's UART and logs each epoch when it is complete."""

    is_sampling = False  # the receiver's characters wait in the UART's buffer

    def __init__(self, uart, baud, store, events):
        Task.__init__(self, _GNSS_POLL_MS)
        self._uart = uart
        self._device = Device("gnss", events)
        self._silent_ms = 0
        self._baud = baud
        self._store = store
        self._reader = NmeaReader(baud, self._log)
        self._buffer = bytearray(64)
        self._quiet = 0
        layout = self._reader.layout
        self._height = layout.index("height")
        self._metre = layout.divisor("height")
        self._missing = layout.missing[self._height]
        self.height_m = None  # of the last epoch, None if it had no fix
        self.fresh = False

    def step(self, now):
        self._silent_ms += _GNSS_POLL_MS
        if self._silent_ms == _GNSS_SILENT_MS:
            self._device.failed(_TIMEOUT)
        waiting = self._uart.any()
        if not waiting:
            self._quiet += _GNSS_POLL_MS
            if self._quiet >= _GNSS_PAUSE_MS:
                self._reader.finish()
            return 0
        self._quiet = 0
        taken = 0
        while waiting > 0 and taken < _GNSS_READ_MAX:
            count = self._uart.readinto(self._buffer, min(waiting, len(self._buffer)))
            if not count:
                break
            taken += count
            # What still waits came behind this piece, so this piece was complete so much earlier. A port
            # that says 1 whatever waits costs some accuracy here, nothing else.
            behind = max(waiting - count, 0)
            self._reader.feed(self._buffer, count, tick_add(now, -(behind * 10000 // self._baud)))
            waiting = self._uart.any()
        return 0

    def _log(self):
        reader = self._reader
        height = reader.layout.values[self._height]
        self.height_m = None if height == self._missing else height // self._metre
        self.fresh = True
        self._silent_ms = 0
        self._device.works()
        self._store.emit(reader.layout, reader.tick)
