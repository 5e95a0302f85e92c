# The modules machine, time and _onewire of a board, over the virtual board: what is deployed runs unchanged
# on a real interpreter that has no such hardware. onboard/firmware/hardware.py says which calls there are.
#
# The virtual board is soldered as the "pins" of the configuration say.

import json
import os
import sys

import onboard.simulator.board.outputs  # noqa: F401  (the virtual board loads it when it is too late)
from onboard.simulator.board.sd_bus import SDBus, SelectPin
from onboard.simulator.board.sd_device import SDDevice
from onboard.simulator.board.virtual import VirtualBoard
from protocol.constant import const

_SHOW_MS = const(10000)  # how often the time is told to who started the interpreter


class _Bench:
    # The one virtual board of this interpreter, what is soldered to it, and its watchdog.
    board = None
    clock = None
    pins = None
    card = None
    until_ms = None
    show_ms = 0
    watchdog = None


def set_up(words):
    """Take over machine, time and _onewire and make everything ready for `import main`; the firmware's
    modules are the deployed ones from then on.

    words: deployed folder, flight's folder and, if the power goes off before the tape's end, seconds.
    """
    deployed, flight = words[:2]
    board = VirtualBoard(flight)
    _Bench.board = board
    _Bench.clock = board.clock
    _Bench.card = SDDevice(board.clock, board.card)
    if len(words) > 2:
        _Bench.until_ms = board.clock.world_ms() + int(words[2]) * 1000
    os.chdir(deployed)
    with open("loftbook.json") as file:
        _Bench.pins = json.load(file)["pins"]
    sys.modules["machine"] = sys.modules[__name__]
    sys.modules["time"] = _Time
    sys.modules["_onewire"] = _OneWire
    for name in list(sys.modules):
        if name.split(".")[0] in ("onboard", "protocol") and not name.startswith("onboard.simulator"):
            del sys.modules[name]
    sys.path[:] = [deployed, deployed + "/lib"]


def _end(word):
    # The power goes off. SystemExit is no Exception, so the firmware cannot hold it up.
    _Bench.board.card.close()
    print(word)
    raise SystemExit(0)


def reset_cause():
    """Why the board started."""
    return _Bench.board.reset_cause


class Pin:
    """A pin of the processor: the card's chip select, the ground test's jumper, an output, or another."""

    IN, OUT, OPEN_DRAIN, PULL_UP = 0, 1, 2, 1

    def __init__(self, number, mode=-1, pull=-1, value=None):
        self.number = number
        self._output = None
        if mode == Pin.OUT:
            level = value or 0
            is_select = number == _Bench.pins["card_cs"]
            self._output = SelectPin(_Bench.card) if is_select else _Bench.board.output(number, level)
            self._output.value(level)

    def value(self, level=None):
        """Set an output, or read: an input that nobody pulls down is high."""
        if level is None:
            return 0 if self.number == _Bench.pins["test_mode"] and _Bench.board.is_ground_test() else 1
        if self._output is not None:
            self._output.value(level)


def _check(kind, number, wired):
    if number != wired:
        raise ValueError("nothing is soldered to " + kind + " " + str(number))


def I2C(number, sda, scl, freq, timeout):  # noqa: N802
    """The bus with the sensors."""
    _check("pin", sda.number, _Bench.pins["i2c_sda"])
    _check("pin", scl.number, _Bench.pins["i2c_scl"])
    return _Bench.board.i2c


def UART(number, baudrate, tx, rx, rxbuf, txbuf, timeout):  # noqa: N802
    """The line of the GNSS receiver or of the radio modem."""
    if tx.number == _Bench.pins["downlink_tx"]:
        return _Bench.board.downlink
    _check("pin", rx.number, _Bench.pins["gnss_rx"])
    return _Bench.board.uart


def ADC(pin):  # noqa: N802
    """An analog input, by its pin."""
    for role in ("outside_temperature", "battery", "rail"):
        if pin.number == _Bench.pins[role + "_adc"]:
            return _Bench.board.adc(role)
    raise ValueError("nothing is soldered to pin " + str(pin.number))


def SPI(number, baudrate, polarity, phase, sck, mosi, miso):  # noqa: N802
    """The bus with the card."""
    _check("pin", sck.number, _Bench.pins["card_sck"])
    bus = SDBus(_Bench.clock, _Bench.card)
    bus.init(baudrate)
    return bus


class WDT:
    """The watchdog: bites when it was not fed for its time."""

    def __init__(self, timeout):
        self._timeout = timeout
        self.feed()
        _Bench.watchdog = self

    def feed(self):
        """Begin the time anew."""
        self._fed = _Bench.clock.world_ms()

    def look(self):
        """Reset the board if the time is over."""
        if _Bench.clock.world_ms() - self._fed > self._timeout:
            _end("watchdog reset")


class Timer:
    """A timer that calls back while nothing else runs: run() is a console that is left alone for a while."""

    PERIODIC = 1

    def __init__(self, number):
        self._period = None

    def init(self, period, mode, callback):
        """Begin."""
        self._period = period
        self._callback = callback

    def run(self, milliseconds):
        """Let time go by."""
        for _ in range(milliseconds // self._period):
            _Bench.clock.spend_us(self._period * 1000)
            _Bench.watchdog.look()
            self._callback(self)


class _Time:
    # The module time.

    @staticmethod
    def ticks_ms():
        return _Bench.board.ticks_ms()

    @staticmethod
    def sleep_us(microseconds):
        _Bench.clock.spend_us(microseconds)

    @staticmethod
    def sleep_ms(milliseconds):
        board = _Bench.board
        board.idle(milliseconds)
        if _Bench.watchdog is not None:
            _Bench.watchdog.look()
        now_ms = _Bench.clock.world_ms()
        if now_ms >= _Bench.show_ms:
            _Bench.show_ms = now_ms + _SHOW_MS
            print("flown", now_ms // 1000)
        until_ms = _Bench.until_ms
        if not board.is_running() or (until_ms is not None and now_ms >= until_ms):
            _end("done")


class _OneWire:
    # The module _onewire: a pin, or what stands for one, comes with every call.

    @staticmethod
    def reset(pin):
        return _Bench.board.onewire.reset()

    @staticmethod
    def readbit(pin):
        return _Bench.board.onewire.read_bit()

    @staticmethod
    def writebit(pin, bit):
        _Bench.board.onewire.write_bit(bit)
