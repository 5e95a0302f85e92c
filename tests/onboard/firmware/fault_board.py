# A board whose chips, receiver and card can be made to fail while the real logger flies on it. Runs on
# CPython and MicroPython, in whole numbers only, so that every interpreter computes the same bytes.
#
# The chips are those of the virtual board, which follow their data sheets. Each reading tells the second in
# which it was taken, so that a stale one is seen.

from bench_board import SETTINGS
from onboard.firmware.logger import Logger
from onboard.firmware.settings import Settings
from onboard.simulator.board import clock as virtual_clock
from onboard.simulator.board.barometer import BarometerDevice
from onboard.simulator.board.bus import I2C
from onboard.simulator.board.humidity import HumidityDevice
from onboard.simulator.board.motion import MotionDevice
from onboard.simulator.board.noise import Noise
from protocol.tick import tick_add

DENSE_PARITY = SETTINGS.replace('"parity": [16, 10]', '"parity": [2, 4]')  # a minute's log has parity too
assert DENSE_PARITY != SETTINGS
WORDS = (40127, 36924, 23317, 23282, 33464, 28312)  # C1 to C6 of the MS5611 data sheet's example
ONE_G = 2048  # counts at a range of 16 g
GNSS_DELAY_MS = 120
CHARACTERS_A_SECOND = 960


def pressure_pa(height_m):
    # A straight line: it has to tell up from down and no more.
    return 101325 - 11 * height_m


def barometer_reading(second, height_m):
    # The data sheet's formulae backwards, for the temperature at which dT is (nearly) 0.
    d1 = ((pressure_pa(height_m) << 15) + (WORDS[1] << 16) << 6) // WORDS[0]
    return d1 + second % 32, (WORDS[4] << 8) + second % 100


def humidity_reading(second):
    return 25000 + second % 1000, 30000 + second % 1000  # temperature, humidity


def motion_reading(second):
    return second % 1000, -(second % 1000), ONE_G, -5000 - second % 1000, 3, 4, second % 1000


def adc_reading(second):
    return 30000 + second % 1000


def sentence(body):
    total = 0
    for byte in body.encode():
        total ^= byte
    return "${}*{:02X}\r\n".format(body, total).encode()


def clock_digits(second):
    return "{:02d}{:02d}{:02d}.00".format(second // 3600 % 24, second // 60 % 60, second % 60)


def fix(second, height_m):
    """RMC and GGA of a receiver with a fix."""
    place = "4701.9{:04d},N,01948.7{:04d},E".format(second % 10000, second % 10000)
    time = clock_digits(second)
    return sentence("GNRMC,{},A,{},5.000,90.00,211126,,,A".format(time, place)) + sentence(
        "GNGGA,{},{},1,10,0.90,{}.0,M,43.5,M,,".format(time, place, height_m)
    )


class Clock(virtual_clock.Clock):
    def __init__(self, start_tick):
        virtual_clock.Clock.__init__(self, 0)
        self._start_tick = start_tick

    def tick(self):
        return tick_add(self._start_tick, self._ms)


class Rows:
    # Readings that a function of the second gives, with the calls of a tape's stream.

    def __init__(self, function):
        self._function = function
        self._row = None

    def at(self, world_ms):
        self._row = self._function(world_ms // 1000)

    def value(self, column):
        return self._row[column]


class Chip:
    """A chip on the bus that can stop answering. It comes back afresh: its supply was gone."""

    def __init__(self, make):
        self._make = make
        self._device = make()
        self._fault = None
        self.answers = 0

    def fail(self, fault=OSError):
        self._fault = fault

    def come_back(self):
        self._fault = None
        self._device = self._make()

    def _reach(self):
        if self._fault:
            raise self._fault(19)
        self.answers += 1
        return self._device

    def write(self, buffer):
        self._reach().write(buffer)

    def write_register(self, register, buffer):
        self._reach().write_register(register, buffer)

    def read_into(self, buffer):
        self._reach().read_into(buffer)


class UnresetBarometer(BarometerDevice):
    """Converts only once it was reset: the data sheet wants a reset after power-on, to load the PROM."""

    _is_reset = False

    def write(self, buffer):
        if buffer[0] == 0x1E:
            self._is_reset = True
        elif self._is_reset:
            BarometerDevice.write(self, buffer)


class Line:
    """The receiver's line. `says` gives the bytes that it sends in a second; every call raises `fault`."""

    def __init__(self, clock, says):
        self._clock = clock
        self.says = says
        self.fault = None
        self._second = -1
        self._text = b""
        self._taken = 0

    def any(self):
        if self.fault:
            raise self.fault(5)
        now = self._clock.world_ms() - GNSS_DELAY_MS
        if now < 0:
            return 0
        if now // 1000 != self._second:
            self._second = now // 1000
            self._text = self.says(self._second)
            self._taken = 0
        return min(len(self._text), now % 1000 * CHARACTERS_A_SECOND // 1000) - self._taken

    def readinto(self, buffer, count):
        count = min(count, self.any(), len(buffer))
        for i in range(count):
            buffer[i] = self._text[self._taken + i]
        self._taken += count
        return count


class Hits:
    """A line with noise: each character of what `says` gives is replaced with a chance of `per_65536`."""

    def __init__(self, says, seed, per_65536):
        self._says = says
        self._noise = Noise(seed)
        self._chance = per_65536
        self.hit = 0

    def __call__(self, second):
        text = bytearray(self._says(second))
        for i in range(len(text)):
            if self._noise.next() < self._chance:
                text[i] = self._noise.next() & 0xFF
                self.hit += 1
        return text


class Input:
    def __init__(self, board, role):
        self._board = board
        self._role = role

    def read_u16(self):
        if self._role in self._board.adc_faults:
            raise OSError(110)
        return adc_reading(self._board.clock.world_ms() // 1000)


class Endless(Exception):
    """Ends a loop that does not end by itself: the clock was looked at too often."""


class Board:
    """height_m: function of the second since power-on; start_tick: what the board's clock shows then."""

    reset_cause = 1

    def __init__(self, card, height_m=lambda second: 100, start_tick=0):
        clock = self.clock = Clock(start_tick)
        self.barometer = Chip(
            lambda: UnresetBarometer(clock, Rows(lambda s: barometer_reading(s, height_m(s))), WORDS)
        )
        self.humidity = Chip(lambda: HumidityDevice(clock, Rows(humidity_reading)))
        self.motion = Chip(lambda: MotionDevice(clock, Rows(motion_reading)))
        self.i2c = I2C(clock)
        self.i2c.attach(0x77, self.barometer)
        self.i2c.attach(0x44, self.humidity)
        self.i2c.attach(0x68, self.motion)
        self.has_fix = lambda second: fix(second, height_m(second))
        self.uart = Line(clock, self.has_fix)
        self.adc_faults = set()  # roles whose readings fail
        self.looks_left = None  # how often the clock may be looked at; None: for ever
        self.card = card
        if card:
            card.clock = clock

    def adc(self, role):
        return Input(self, role)

    def ticks_ms(self):
        if self.looks_left is not None:
            self.looks_left -= 1
            if self.looks_left < 0:
                raise Endless
        self.clock.spend_us(350)
        return self.clock.tick()

    def idle(self, milliseconds):
        self.clock.spend_us(milliseconds * 1000)

    def is_ground_test(self):
        return False

    def free_heap(self):
        return None


def boot(board, settings=SETTINGS):
    """Boot the logger on a board."""
    logger = Logger(Settings(settings), board)
    for _ in logger.boot():
        pass
    return logger


def fly(logger, board, until_s):
    """Let the logger run until so many seconds after power-on."""
    while board.clock.world_ms() < 1000 * until_s:
        logger.step()
