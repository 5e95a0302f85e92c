# The GNSS receiver's task: logs each epoch, and sets the receiver's dynamic model where the mission wants it.

from onboard.firmware.nmea import NmeaReader
from onboard.firmware.scheduler import Task
from onboard.firmware.tasks import Device
from protocol.constant import const
from protocol.tick import tick_add

_POLL_MS = const(50)  # at 9600 baud 48 characters come in this time; boards buffer 256 and more
_PAUSE_MS = const(150)  # a silence of this length ends an epoch
_SILENT_MS = const(10000)  # a receiver without an epoch for this long has failed
_READ_MAX = const(512)  # bytes that one poll takes at most

_TIMEOUT = OSError(110)  # ETIMEDOUT; made once, since raising would allocate


class GnssTask(Task):
    """Polls the receiver's UART and logs each epoch when it is complete.

    model: the dynamic model to set (see ubx.py), None for a receiver that is only listened to.
    downlink: told of each epoch by take_fix(values, tick), if there is one.
    """

    is_sampling = False  # the receiver's characters wait in the UART's buffer

    def __init__(self, uart, baud, store, events, model=None):
        Task.__init__(self, _POLL_MS)
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
        self.downlink = None
        self._setter = None
        if model is not None:
            from onboard.firmware.model_setter import ModelSetter

            self._setter = ModelSetter(uart, model, events)

    def step(self, now):
        self._silent_ms += _POLL_MS
        if self._silent_ms == _SILENT_MS:
            self._device.failed(_TIMEOUT)
        setter = self._setter
        if setter is not None and setter.is_asking:
            setter.go_on(_POLL_MS)
        waiting = self._uart.any()
        if not waiting:
            self._quiet += _POLL_MS
            if self._quiet >= _PAUSE_MS:
                self._reader.finish()
            return 0
        self._quiet = 0
        taken = 0
        while waiting > 0 and taken < _READ_MAX:
            count = self._uart.readinto(self._buffer, min(waiting, len(self._buffer)))
            if not count:
                break
            taken += count
            # What still waits came behind this piece, so this piece was complete so much earlier. A port
            # that says 1 whatever waits costs some accuracy here, nothing else.
            behind = max(waiting - count, 0)
            self._reader.feed(self._buffer, count, tick_add(now, -(behind * 10000 // self._baud)))
            if setter is not None and setter.is_asking:
                setter.acks.feed(self._buffer, count)
            waiting = self._uart.any()
        return 0

    def _log(self):
        reader = self._reader
        height = reader.layout.values[self._height]
        if self._setter is not None:
            has_lost_fix = self.height_m is not None and height == self._missing
            self._setter.heard(self._silent_ms >= _SILENT_MS, has_lost_fix)
        self.height_m = None if height == self._missing else height // self._metre
        self.fresh = True
        self._silent_ms = 0
        self._device.works()
        self._store.emit_late(reader.layout, reader.tick)
        if self.downlink is not None:
            self.downlink.take_fix(reader.layout.values, reader.tick)
