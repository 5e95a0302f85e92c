# The logger: puts the parts together at boot and runs them.

from binascii import crc32
from struct import unpack_from

from onboard.firmware import FIRMWARE_VERSION
from onboard.firmware.events import EventLog, error_number
from onboard.firmware.mpu6050 import MPU6050
from onboard.firmware.ms5611 import MS5611, RESET_MS
from onboard.firmware.phase import PhaseTracker
from onboard.firmware.region import LogRegion
from onboard.firmware.scheduler import Scheduler
from onboard.firmware.sht3x import SHT3x
from onboard.firmware.store import BlockStore
from onboard.firmware.tasks import AirTask, GnssTask, MotionTask, PowerTask, PressureTask
from onboard.firmware.upkeep import CardTask, HealthTask, ManifestTask, PhaseTask
from protocol.block import BLOCK_FLIGHT, BLOCK_HEADER, BLOCK_HEADER_FIELDS
from protocol.constant import const
from protocol.manifest import end_line, manifest_lines
from protocol.table import DEVICES, event_code

_BOOT = BLOCK_HEADER_FIELDS.index("boot")
_PHASE = BLOCK_HEADER_FIELDS.index("phase")
_CARD_TRIES = const(3)  # a card needs a moment after power-on
_CARD_PAUSE_MS = const(100)
_STAGGER_MS = const(7)  # tasks start this far apart, so that they do not all fall due at once


class Logger:
    """The whole logger on a board.

    settings: a Settings. board: ticks_ms() in ms modulo protocol.tick.TICK_PERIOD, idle(ms), i2c, uart, adc(role),
    card (block device or None; its calls raise OSError when they fail, so a driver that returns an error must be
    wrapped), reset_cause, free_heap() (bytes or None).

        logger = Logger(settings, board)
        boot = logger.boot()
        while next(boot, None):
            gc.collect()
        while True:
            logger.step()

    The boot comes in steps so that a small heap can be swept between them.
    """

    def __init__(self, settings, board):
        self._settings = settings
        self._board = board
        self.scheduler = Scheduler(board)

    def boot(self):
        """Find the log, build the parts, log the manifest. A generator; each step yields True."""
        settings = self._settings
        board = self._board
        for _ in range(_CARD_TRIES):
            region, number, phase, card_error = _resume(board, settings.flight)
            if card_error is None:
                break
            board.idle(_CARD_PAUSE_MS)
        found = region.next if region else 0
        yield True
        depth, rate = settings.parity
        self.store = BlockStore(region, settings.flight, number, board, depth, rate)
        self.store.phase = phase
        self.events = EventLog(self.store, board)
        self.store.events = self.events
        self.scheduler.on_failure = self._task_failed
        self.tracker = PhaseTracker(phase)
        yield True
        words = _barometer_words(board)
        sensors, rates = _described(settings, words)
        size = 0
        crc = 0
        for line in _lines(settings, number, sensors, rates):
            size += len(line)
            crc = crc32(line, crc)
            yield True
        text = bytearray(size + len(end_line(crc)))
        size = 0
        for line in _lines(settings, number, sensors, rates):
            text[size : size + len(line)] = line
            size += len(line)
            yield True
        text[size:] = end_line(crc)
        manifest = ManifestTask(settings.rates["manifest"], text, self.store)
        manifest.log_whole(board)
        self.events.note(event_code("booted"), board.reset_cause, found)
        self.events.note(event_code("phase changed"), phase, 0)  # whoever listens from now on knows it too
        if card_error is not None:
            self.events.note(event_code("device failed"), DEVICES.index("card"), error_number(card_error))
        yield True
        delay = 0
        for task in self._tasks(words):
            self.scheduler.add(task, delay)
            delay += _STAGGER_MS
            yield True
        self.scheduler.add(manifest, settings.rates["manifest"])

    def _tasks(self, words):
        board = self._board
        store = self.store
        events = self.events
        rates = self._settings.rates
        barometer = MS5611(board.i2c)
        barometer.words = words
        _, acceleration_range, rate_range = self._settings.sensors["motion"]
        motion = MPU6050(board.i2c, acceleration_range, rate_range)
        yield CardTask(store)
        gnss = GnssTask(board.uart, self._settings.baud, store, events)
        yield gnss
        pressure = PressureTask(rates["pressure"], barometer, store, events, self._tell_words)
        yield pressure
        yield MotionTask(rates["motion"], motion, store, events)
        humidity = SHT3x(board.i2c)
        yield AirTask(rates["air"], board.adc("outside_temperature"), humidity, store, events)
        yield PowerTask(rates["power"], board.adc("battery"), board.adc("rail"), motion, store, events)
        yield PhaseTask(self.tracker, pressure, gnss, store, events)
        yield HealthTask(rates["health"], self.scheduler, store, board)

    def _tell_words(self, words):
        # The manifest is constant in a boot, so what it lacks goes into the log as its line of text.
        self.events.say(" ".join(["sensor", "barometer"] + self._settings.sensors["barometer"] + [str(w) for w in words]))

    def _task_failed(self, task, error):
        task.failures += 1
        if task.failures == 1:
            try:
                self.events.say(type(task).__name__ + ": " + repr(error))
            except MemoryError:
                task.failures = 0  # said another time

    def step(self):
        """Run what is due; if nothing is, sleep until something is."""
        wait = self.scheduler.run_due()
        if wait:
            self._board.idle(wait)

    def finish(self):
        """Write what is still in memory, for an orderly end on the bench."""
        self.store.close_now()
        while self.store.waiting:
            before = self.store.waiting
            self.store.write_one(self._board.ticks_ms())
            if self.store.waiting == before and not self.store.is_busy and not self.store.wrote_parity:
                break


def _resume(board, flight):
    # Find the log on the card and where the last boot of this flight left off.
    # Returns (region or None, boot number, phase, error or None).
    if board.card is None:
        return None, 1, 0, OSError(19)
    try:
        region = LogRegion(board.card)
        region.resume()
    except OSError as error:
        return None, 1, 0, error
    if region.next == 0:
        return region, 1, 0, None
    last = region.last_block(BLOCK_FLIGHT, flight)
    if last is None:
        return region, 1, 0, None
    header = unpack_from(BLOCK_HEADER, last, 0)
    return region, header[_BOOT] + 1, header[_PHASE], None


def _barometer_words(board):
    # The calibration words belong into the manifest, so they are asked for before the first sample.
    barometer = MS5611(board.i2c)
    for _ in range(3):
        try:
            barometer.reset()
            board.idle(RESET_MS)
            barometer.read_prom()
            return barometer.words
        except OSError:
            pass
    return None


def _described(settings, words):
    # Sensors and rates as the manifest lists them, in an order that does not depend on the interpreter.
    sensors = []
    for role in sorted(settings.sensors):
        sensor = [role] + settings.sensors[role]
        if role == "barometer" and words is not None:
            sensor += words
        sensors.append(sensor)
    return sensors, [(kind, settings.rates[kind]) for kind in sorted(settings.rates)]


def _lines(settings, boot, sensors, rates):
    return manifest_lines(
        FIRMWARE_VERSION, settings.payload, settings.flight, boot, settings.hash, sensors, rates
    )
