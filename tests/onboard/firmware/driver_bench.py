# What the checks of the drivers share: the data sheets' examples, and a bus with one virtual device. Runs on
# CPython and MicroPython.

from onboard.firmware.bmp280 import BMP280
from onboard.firmware.ms5611 import MS5611
from onboard.firmware.tmp117 import TMP117
from onboard.simulator.board.barometer import BarometerDevice
from onboard.simulator.board.bmp280 import Bmp280Device
from onboard.simulator.board.bus import I2C
from onboard.simulator.board.clock import Clock
from onboard.simulator.board.tmp117 import Tmp117Device

# TE MS5611-01BA03 data sheet, "Pressure and temperature calculation", example: C1 to C6, D1, D2, P in Pa.
MS5611_WORDS = (40127, 36924, 23317, 23282, 33464, 28312)
MS5611_D1, MS5611_D2, MS5611_PA = 9085466, 8569150, 100009
# Bosch BST-BMP280-DS001, 3.12, example: T1 to T3, P1 to P9, adc_P, adc_T; 100653.27 Pa.
BMP280_WORDS = (27504, 26435, -1000, 36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000)
BMP280_P, BMP280_T, BMP280_PA = 415148, 519888, 100653


class Rows:
    """A stream of one row."""

    def __init__(self, *row):
        self.row = list(row)

    def at(self, world_ms):
        pass

    def value(self, column):
        return self.row[column]


def expect(found, wanted):
    if found != wanted:
        raise AssertionError("found {}, not {}".format(found, wanted))


def expect_error(number, function, *arguments):
    try:
        found = function(*arguments)
    except OSError as error:
        expect(error.args[0], number)
        return
    raise AssertionError("no error {} but {}".format(number, found))


def bus_with(address, make, *row):
    """A clock, a bus and a device on it: make(clock, stream)."""
    clock = Clock(0)
    i2c = I2C(clock)
    rows = Rows(*row)
    device = make(clock, rows)
    i2c.attach(address, device)
    return clock, i2c, device, rows


def ms5611():
    def make(clock, stream):
        return BarometerDevice(clock, stream, MS5611_WORDS)

    clock, i2c, device, rows = bus_with(0x77, make, MS5611_D1, MS5611_D2)
    return clock, MS5611(i2c), device, rows


def bmp280(address=0x76):
    def make(clock, stream):
        return Bmp280Device(clock, stream, BMP280_WORDS)

    clock, i2c, device, rows = bus_with(address, make, BMP280_P, BMP280_T)
    return clock, BMP280(i2c, address=address), device, rows


def tmp117(word=0x0C80):
    clock, i2c, device, rows = bus_with(0x48, Tmp117Device, word)
    return clock, TMP117(i2c), device, rows


def wait(clock, milliseconds):
    clock.spend_us(milliseconds * 1000)


def started(clock, chip):
    chip.reset()
    wait(clock, chip.reset_ms)
    chip.read_prom()
    return chip


def sample(clock, chip):
    """Take a sample as the task does. Returns pressure and temperature counts, and how many steps it took."""
    values = [0, 0]
    due = chip.start()
    steps = 0
    while due:
        wait(clock, due)
        due = chip.proceed(values, 0, 1)
        steps += 1
    return values, steps


def checks_of(names):
    """The checks of a module, by name."""
    return {name: function for name, function in names.items() if name.startswith("check_")}
