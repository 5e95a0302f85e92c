# The boot: finds the log, builds the parts, logs the manifest.
#
# A board's memory is short: each module is loaded only in the step that needs it, so that what loading leaves behind
# can be swept away between two steps, and what only the boot needs is let go.

import sys

from onboard.firmware import FIRMWARE_VERSION
from onboard.firmware.events import EventLog, error_number
from onboard.firmware.region import LogRegion
from protocol.constant import const
from protocol.manifest import manifest_texts
from protocol.table import DEVICES, event_code

_PARTS = ("parity", "store", "phase", "tasks", "upkeep", "nmea", "gnss_task", "parts")  # what every board needs
_CARD_TRIES = const(3)  # a card needs a moment after power-on
_ENODEV = const(19)
_POWER_ON = const(1)  # machine.PWRON_RESET of the ports that we know
_CARD_PAUSE_MS = const(100)
_STAGGER_MS = const(7)  # tasks start this far apart, so that they do not all fall due at once


class _Plain:
    # Settings without the code that read them.
    pass


class Boot:
    """One boot of a Logger, in steps."""

    def __init__(self, logger, settings, board):
        self._logger = logger
        self.settings = _Plain()
        for name, value in settings.__dict__.items():
            setattr(self.settings, name, value)
        _let_go("settings")
        self.board = board

    def run(self):
        """A generator; each step yields True."""
        settings = self.settings
        logger = self._logger
        board = self.board
        from onboard.firmware.resume import resume

        region = LogRegion(board.card, True) if board.card else None
        number, phase, card_error = 1, 0, OSError(_ENODEV)
        for _ in range(_CARD_TRIES if region else 0):
            try:
                number, phase = yield from resume(region, settings.flight)
                card_error = None
                break
            except OSError as error:
                card_error = error
                board.idle(_CARD_PAUSE_MS)
        logger.card_error = card_error  # for the console
        found = 0
        late = None
        if card_error is None:
            found = region.next
            _let_go("volume")
            _let_go("resume")
        elif region:
            from onboard.firmware.late_card import LateCard

            late = LateCard(region, logger, settings.flight, board)
            region = None
        yield True
        self.seconds = 0  # in this phase
        if phase and settings.switches:
            from onboard.firmware.options import seconds_in_phase

            self.seconds = seconds_in_phase(self, region)
            _let_go("elapsed")
            yield True
        names = _PARTS
        if settings.gnss_model is not None:
            names += ("ubx", "model_setter")
        if settings.downlink:
            names += ("air_time", "transmitter", "downlink")
        for name in names:
            __import__("onboard.firmware." + name)
            yield True
        from onboard.firmware.store import BlockStore

        depth, rate = settings.parity
        store = logger.store = self.store = BlockStore(region, settings.flight, number, board, depth, rate)
        store.phase = phase
        events = logger.events = self.events = EventLog(store, board)
        store.events = events
        logger.scheduler.on_failure = logger.task_failed
        from onboard.firmware.phase import PhaseTracker

        logger.tracker = self.tracker = PhaseTracker(phase)
        yield True
        from onboard.firmware.parts import Sensors

        self.sensors = Sensors(settings, board)
        yield True
        barometer = self.sensors.barometer()
        yield True
        words = _barometer_words(barometer, board)
        if barometer:
            logger.barometer = " ".join(["sensor", "barometer"] + settings.sensors["barometer"])
        yield True
        texts = manifest_texts(
            FIRMWARE_VERSION, settings.payload, settings.flight, number, settings.hash, _sensors(settings, words),
            _rates(settings),
        )
        yield True
        if settings.downlink and board.downlink is not None:
            from onboard.firmware.options import downlink

            events.downlink = downlink(self, number, texts)
            yield True
        from onboard.firmware.upkeep import ManifestTask

        manifest = ManifestTask(settings.rates["manifest"], texts, store)
        if region:
            manifest.log_whole(board)
        events.note(event_code("booted"), board.reset_cause, found)
        events.note(event_code("phase changed"), phase, 0)  # whoever listens from now on knows it too
        if card_error is not None:
            events.note(event_code("device failed"), DEVICES.index("card"), error_number(card_error))
        yield True
        delay = 0
        for task in self._tasks(barometer):
            if task:
                logger.scheduler.add(task, delay)
                delay += _STAGGER_MS
            yield True
        logger.scheduler.add(manifest, settings.rates["manifest"])
        if late:
            late.manifest = manifest
            late.texts = texts
            logger.scheduler.add(late, late.period)
        for name in ("options", "switch_check", "boot"):
            _let_go(name)

    def _tasks(self, barometer):
        # One by one; None in between, where there is something to be swept away.
        board = self.board
        store = self.store
        events = self.events
        rates = self.settings.rates
        sensors = self.sensors
        motion = sensors.motion()
        yield
        thermometer = sensors.thermometer()
        humidity = sensors.humidity()
        battery = sensors.adc("battery")
        rail = sensors.adc("rail")
        has_probes = any([role.startswith("probe_") for role in self.settings.sensors])
        # A ground test never begins in flight, whatever happened to jumper and card: a watchdog's reset begins none.
        is_ground_test = self.tracker.phase == 0 and board.reset_cause == _POWER_ON and board.is_ground_test()
        if has_probes or is_ground_test or self.settings.switches or events.downlink:
            from onboard.firmware import options
        probes = options.probes(self) if has_probes else None
        self.sensors = sensors = None
        _let_go("parts")
        yield
        from onboard.firmware.upkeep import CardTask, HealthTask, PhaseTask

        yield CardTask(store)
        from onboard.firmware.gnss_task import GnssTask

        gnss = GnssTask(board.uart, self.settings.baud, store, events, self.settings.gnss_model)
        yield gnss
        from onboard.firmware.tasks import AirTask, MotionTask, NoBarometer, PowerTask, PressureTask

        pressure = NoBarometer
        if barometer:
            pressure = PressureTask(rates["pressure"], barometer, store, events, self._logger.tell_words)
            yield pressure
        if motion:
            yield MotionTask(rates["motion"], motion, store, events)
        air = None
        if thermometer or humidity:
            air = AirTask(rates["air"], thermometer, humidity, store, events)
            yield air
        yield probes
        power = PowerTask(rates["power"], battery, rail, motion, store, events)
        yield power
        yield PhaseTask(self.tracker, pressure, gnss, store, events)
        yield HealthTask(rates["health"], self._logger.scheduler, store, board)
        if is_ground_test or self.settings.switches or events.downlink:
            yield from options.tasks(self, is_ground_test, pressure, gnss, air, power)


def _barometer_words(barometer, board):
    # The calibration words belong into the manifest, so they are asked for before the first sample.
    if barometer is None:
        return None
    for _ in range(3):
        try:
            barometer.reset()
            board.idle(barometer.reset_ms)
            barometer.read_prom()
            return barometer.words
        except OSError:
            pass
    return None


def _sensors(settings, words):
    # Sensors and rates are listed in an order that does not depend on the interpreter.
    for role in sorted(settings.sensors):
        yield (role,) + tuple(settings.sensors[role]) + (words if words and role == "barometer" else ())


def _rates(settings):
    for kind in sorted(settings.rates):
        yield kind, settings.rates[kind]


def _let_go(name):
    # On MicroPython a module's code is in the heap, and collected like all else when nobody refers to it.
    whole = "onboard.firmware." + name
    if sys.implementation.name == "micropython" and whole in sys.modules:
        del sys.modules[whole]
        delattr(sys.modules["onboard.firmware"], name)
