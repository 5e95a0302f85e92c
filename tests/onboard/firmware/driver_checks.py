# Checks of the drivers on the I2C bus and the ADC, on the virtual devices; run on CPython and on both
# MicroPython interpreters by test_drivers_everywhere.py. Each takes nothing, and raises if something is not
# as its name says.

from driver_bench import (
    BMP280_P, BMP280_PA, BMP280_T, BMP280_WORDS, MS5611_D1, MS5611_D2, MS5611_PA, MS5611_WORDS, bmp280,
    bus_with, checks_of, expect, expect_error, ms5611, sample, started, tmp117, wait,
)
from onboard.firmware.analog import AnalogThermometer
from onboard.firmware.bmp280 import BMP280
from onboard.firmware.mpu6050 import MPU6050
from onboard.firmware.ms5611 import MS5611
from onboard.firmware.sht3x import SHT3x
from onboard.firmware.tmp117 import TMP117
from onboard.simulator.board.bmp280 import Bmp280Device
from onboard.simulator.board.bus import I2C
from onboard.simulator.board.clock import Clock
from onboard.simulator.board.humidity import HumidityDevice
from onboard.simulator.board.motion import MotionDevice

# TI SNOSD82D, table 7-1 (result register), but for -256 degC, which means that there is none.
TMP117_WORDS = (0xF380, 0xFFF0, 0xFFFF, 0x0000, 0x0001, 0x0010, 0x0080, 0x0C80, 0x3200)


# Barometers


def check_the_ms5611_reads_the_data_sheets_example():
    clock, chip, _, _ = ms5611()
    started(clock, chip)
    expect(chip.words, MS5611_WORDS)
    expect(sample(clock, chip), ([MS5611_D1, MS5611_D2], 2))
    if abs(chip.pressure_pa(MS5611_D1, MS5611_D2) - MS5611_PA) > 5:
        raise AssertionError(chip.pressure_pa(MS5611_D1, MS5611_D2))


def check_the_ms5611_fetched_too_early_is_an_error_and_the_next_sample_is_right():
    clock, chip, _, _ = ms5611()
    chip.start()
    wait(clock, 1)
    expect_error(5, chip.proceed, [0, 0], 0, 1)
    expect(sample(clock, chip)[0], [MS5611_D1, MS5611_D2])


def check_an_ms5611_whose_words_are_wrong_by_a_bit_is_refused():
    for word in range(7):
        _, chip, device, _ = ms5611()
        device._prom[word] ^= 1 << (3 * word + 1) % 16
        expect_error(5, chip.read_prom)
        expect(chip.words, None)


def check_the_bmp280_reads_the_data_sheets_example():
    for address in (0x76, 0x77):
        clock, chip, device, _ = bmp280(address)
        started(clock, chip)
        expect(chip.words, BMP280_WORDS)
        expect(sample(clock, chip), ([BMP280_P, BMP280_T], 1))
        expect(device._registers[0xF4], 0x54)  # osrs_t 2, osrs_p 5, asleep again
        if abs(chip.pressure_pa(BMP280_P, BMP280_T) - BMP280_PA) > 2:
            raise AssertionError(chip.pressure_pa(BMP280_P, BMP280_T))


def check_the_bmp280_says_while_it_measures():
    clock, chip, _, _ = bmp280()
    started(clock, chip)
    chip.start()
    wait(clock, 20)
    expect_error(110, chip.proceed, [0, 0], 0, 1)


def check_a_bmp280_that_lost_its_supply_is_not_believed():
    clock, chip, device, _ = bmp280()
    started(clock, chip)
    sample(clock, chip)
    chip.start()
    device._power_on()
    wait(clock, 50)
    expect_error(5, chip.proceed, [0, 0], 0, 1)
    expect(sample(clock, started(clock, chip))[0], [BMP280_P, BMP280_T])


def check_a_result_of_the_bmp280_that_looks_like_none_is_one():
    # 0x80000 in one result alone is a reading like others.
    clock, chip, _, rows = bmp280()
    started(clock, chip)
    rows.row[0] = 0x80000
    expect(sample(clock, chip)[0], [0x80000, BMP280_T])


def check_the_bmp280_is_not_asked_before_it_has_loaded_its_words():
    _, chip, _, _ = bmp280()
    chip.reset()
    expect_error(5, chip.read_prom)


def check_words_of_the_bmp280_that_cannot_be_are_refused():
    clock, chip, device, _ = bmp280()
    wait(clock, 5)
    for register in (0x88, 0x8E):  # T1 and P1 are divisors
        before = device._registers[register : register + 2]
        device._registers[register] = 0
        device._registers[register + 1] = 0
        expect_error(5, chip.read_prom)
        device._registers[register] = before[0]
        device._registers[register + 1] = before[1]
    chip.read_prom()
    expect(chip.words, BMP280_WORDS)


class Flicker:
    """A device whose answers have a wrong bit now and then: every third answer of more than two bytes."""

    def __init__(self, device):
        self._device = device
        self._answers = 0
        self.write = device.write
        self.write_register = device.write_register

    def read_into(self, buffer):
        self._device.read_into(buffer)
        if len(buffer) > 2:
            self._answers += 1
            if self._answers % 3 == 1:
                buffer[7] ^= 0x10


def check_words_of_the_bmp280_that_came_with_a_wrong_bit_are_refused():
    clock, chip, device, _ = bmp280()
    wait(clock, 5)
    chip._i2c.attach(0x76, Flicker(device))
    expect_error(5, chip.read_prom)
    expect(chip.words, None)


def check_another_chip_at_the_bmp280s_address_is_not_taken_for_it():
    clock, chip, device, _ = bmp280()
    wait(clock, 5)
    device._registers[0xD0] = 0x55  # a BMP180
    expect_error(19, chip.read_prom)
    device._registers[0xD0] = 0x60  # a BME280: the same words and registers
    chip.read_prom()
    expect(chip.words, BMP280_WORDS)


def check_an_absent_chip_is_an_error():
    for chip in (MS5611, BMP280):
        expect_error(19, chip(I2C(Clock(0))).reset)
        expect_error(19, chip(I2C(Clock(0))).read_prom)
        expect_error(19, chip(I2C(Clock(0))).start)
    expect_error(19, TMP117(I2C(Clock(0))).start)
    expect_error(19, TMP117(I2C(Clock(0))).counts)
    expect_error(19, SHT3x(I2C(Clock(0))).convert)
    expect_error(19, MPU6050(I2C(Clock(0)), 16, 2000).start)


# Thermometers


def check_the_tmp117_reads_the_words_of_the_data_sheets_table():
    for word in TMP117_WORDS:
        clock, chip, _, _ = tmp117(word)
        wait(clock, chip.start())
        expect(chip.counts(), word ^ 0x8000)


def check_the_tmp117s_highest_word_stays_below_the_missing_value():
    clock, chip, _, _ = tmp117(0x7FFF)
    wait(clock, chip.start())
    expect(chip.counts(), 65534)


def check_the_tmp117_asked_too_early_or_twice_is_an_error():
    clock, chip, _, _ = tmp117()
    due = chip.start()
    wait(clock, due - 30)
    expect_error(5, chip.counts)
    wait(clock, 30)
    chip.counts()
    wait(clock, 5000)
    expect_error(5, chip.counts)  # it sleeps: what stands in the register is old


def check_a_tmp117_that_has_not_converted_is_not_believed():
    clock, chip, device, rows = tmp117()
    chip.start()
    device._reset()  # as a supply does that was away
    wait(clock, 100)
    expect_error(5, chip.counts)
    rows.row[0] = -32768  # the power-on value as a reading
    wait(clock, chip.start())
    expect_error(5, chip.counts)


def check_another_chip_at_the_tmp117s_address_is_not_taken_for_it():
    clock, i2c, _, _ = bus_with(0x48, lambda c, s: Bmp280Device(c, s, BMP280_WORDS), 1, 1)
    expect_error(19, TMP117(i2c).start)


class Adc:
    def __init__(self, *readings):
        self._readings = readings
        self._at = 0

    def read_u16(self):
        self._at += 1
        return self._readings[self._at % len(self._readings)]


def check_an_analog_thermometer_gives_the_mean_of_its_readings():
    chip = AnalogThermometer(Adc(1000, 1001, 1002, 1005))
    expect(chip.start(), 0)
    expect(chip.counts(), 1002)
    expect(AnalogThermometer(Adc(65535)).counts(), 65534)  # 65535 means missing


class Stuck:
    """A bus whose data line stays at one level."""

    def __init__(self, byte):
        self._byte = byte

    def writeto(self, address, buffer):
        pass

    def writeto_mem(self, address, register, buffer):
        pass

    def readfrom_into(self, address, buffer):
        for i in range(len(buffer)):
            buffer[i] = self._byte

    def readfrom_mem_into(self, address, register, buffer):
        self.readfrom_into(address, buffer)


def refuses(function, *arguments):
    try:
        found = function(*arguments)
    except OSError:
        return
    raise AssertionError("no error but {}".format(found))


def check_no_chip_is_believed_on_a_line_that_stays_at_one_level():
    for byte in (0x00, 0xFF):
        for driver in (MS5611, BMP280):
            refuses(driver(Stuck(byte)).read_prom)
            refuses(sample, Clock(0), driver(Stuck(byte)))
        chip = TMP117(Stuck(byte))
        expect_error(19, chip.start)
        expect_error(5, chip.counts)
        chip = SHT3x(Stuck(byte))
        chip.convert()
        expect_error(5, chip.fetch)
        expect_error(5, MPU6050(Stuck(byte), 16, 2000).read_into, [0] * 6, 0, 3)


# Humidity and motion


def check_the_sht3x_is_read_and_checked():
    clock, i2c, _, _ = bus_with(0x44, HumidityDevice, 0x6666, 0xBEEF)
    chip = SHT3x(i2c)
    due = chip.convert()
    expect_error(19, chip.fetch)  # not acknowledged while it measures
    wait(clock, due)
    chip.fetch()
    expect((chip.temperature, chip.humidity), (0x6666, 0xBEEF))


def check_the_mpu6050_keeps_the_signs():
    row = (-32767, 32767, -1, 521, 0, 1, -2)
    _, i2c, _, _ = bus_with(0x68, MotionDevice, *row)
    chip = MPU6050(i2c, 16, 2000)
    values = [None] * 6
    expect_error(5, chip.read_into, values, 0, 3)  # asleep after power-on: all registers read as zeros
    chip.start()
    chip.read_into(values, 0, 3)
    expect(tuple(values), row[:3] + row[4:])
    expect(chip.temperature(), row[3])


CHECKS = checks_of(globals())
