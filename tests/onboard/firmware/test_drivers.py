"""The drivers on the virtual bus, and their arithmetic against the data sheets."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.firmware.mpu6050 import MPU6050
from onboard.firmware.ms5611 import CONVERSION_MS, MS5611, crc4
from onboard.firmware.sht3x import CONVERSION_MS as SHT_MS
from onboard.firmware.sht3x import SHT3x, crc8
from onboard.simulator.board.barometer import BarometerDevice
from onboard.simulator.board.bus import I2C
from onboard.simulator.board.clock import Clock
from onboard.simulator.board.humidity import HumidityDevice
from onboard.simulator.board.motion import MotionDevice

WORDS = (40127, 36924, 23317, 23282, 33464, 28312)  # TE MS5611-01BA03 data sheet, example values


class Rows:
    """A stream of one row."""

    def __init__(self, *row):
        self.row = row

    def at(self, world_ms):
        pass

    def value(self, column):
        return self.row[column]


def bus(address, device_type, *row, **words):
    clock = Clock(0)
    i2c = I2C(clock)
    i2c.attach(address, device_type(clock, Rows(*row), *words.values()))
    return clock, i2c


def test_the_barometer_reads_the_data_sheets_example():
    # TE MS5611-01BA03, flow chart "pressure and temperature calculation": D1 = 9085466, D2 = 8569150.
    clock, i2c = bus(0x77, BarometerDevice, 9085466, 8569150, words=WORDS)
    chip = MS5611(i2c)
    chip.reset()
    chip.read_prom()
    assert chip.words == WORDS
    chip.convert_pressure()
    clock.spend_us(CONVERSION_MS * 1000)
    d1 = chip.read_counts()
    chip.convert_temperature()
    clock.spend_us(CONVERSION_MS * 1000)
    d2 = chip.read_counts()
    assert (d1, d2) == (9085466, 8569150)
    assert abs(chip.pressure_pa(d1, d2) - 100009) <= 5  # 1000.09 hPa in the data sheet


def test_a_conversion_that_is_fetched_too_early_is_an_error():
    clock, i2c = bus(0x77, BarometerDevice, 9085466, 8569150, words=WORDS)
    chip = MS5611(i2c)
    chip.convert_pressure()
    clock.spend_us(1000)
    with pytest.raises(OSError):
        chip.read_counts()


def test_crc4_of_the_application_note():
    # AN520, example code: PROM 3132 3334 3536 3738 3940 4142 4344 4500 has CRC 0xB (from memory).
    assert crc4([0x3132, 0x3334, 0x3536, 0x3738, 0x3940, 0x4142, 0x4344, 0x4500]) == 0xB


@given(st.integers(0, 6), st.integers(0, 15))
def test_a_flipped_bit_in_the_prom_is_found(word, bit):
    clock, i2c = bus(0x77, BarometerDevice, 1, 1, words=WORDS)
    i2c._devices[0x77]._prom[word] ^= 1 << bit
    with pytest.raises(OSError):
        MS5611(i2c).read_prom()


def first_order_pa(d1, d2):
    # The data sheet's formulas with exact integers.
    c1, c2, c3, c4, c5, _ = WORDS
    difference = d2 - c5 * 2**8
    offset = c2 * 2**16 + c4 * difference // 2**7
    sensitivity = c1 * 2**15 + c3 * difference // 2**8
    return (d1 * sensitivity // 2**21 - offset) // 2**15


@given(st.integers(2_000_000, 11_000_000), st.integers(7_000_000, 9_500_000))
def test_the_boards_small_integers_stay_within_ten_pascals(d1, d2):
    chip = MS5611(None)
    chip.words = WORDS
    assert abs(chip.pressure_pa(d1, d2) - first_order_pa(d1, d2)) <= 10


def test_no_step_of_the_boards_pressure_needs_a_big_integer():
    # 31-bit small integers hold up to 2**30 - 1. The usual range of D1 and D2, -40 to +40 degC.
    c1, c2, c3, c4, c5, _ = WORDS
    for d1 in np.linspace(2_000_000, 9_500_000, 50).astype(int).tolist():
        for d2 in np.linspace(6_500_000, 9_300_000, 50).astype(int).tolist():
            coarse = d2 - (c5 << 8) >> 9
            sensitivity = c1 + (c3 * coarse >> 14)
            offset = (c2 << 10) + (c4 * coarse >> 4)
            scaled = (d1 >> 12) * sensitivity + ((d1 & 0xFFF) * sensitivity >> 12)
            for step in (c3 * coarse, c4 * coarse, offset, (d1 & 0xFFF) * sensitivity, scaled):
                assert abs(step) < 2**30


def test_sensirions_crc_of_beef():
    assert crc8(bytes.fromhex("beef"), 0) == 0x92  # SHT3x-DIS data sheet, table "I2C CRC properties"


def test_the_humidity_chip_is_read_and_checked():
    clock, i2c = bus(0x44, HumidityDevice, 0x6666, 0xBEEF)
    chip = SHT3x(i2c)
    chip.convert()
    with pytest.raises(OSError):
        chip.fetch()  # not acknowledged while it measures
    clock.spend_us(SHT_MS * 1000)
    chip.fetch()
    assert (chip.temperature, chip.humidity) == (0x6666, 0xBEEF)


@given(st.tuples(*[st.integers(-32767, 32767)] * 7).filter(any))
def test_motion_words_keep_their_signs(row):
    clock, i2c = bus(0x68, MotionDevice, *row)
    chip = MPU6050(i2c, 16, 2000)
    values = [None] * 6
    with pytest.raises(OSError):
        chip.read_into(values, 0, 3)  # asleep after power-on: all registers read as zeros
    chip.start()
    chip.read_into(values, 0, 3)
    assert tuple(values) == (*row[:3], *row[4:])
    assert chip.temperature() == row[3]


def test_the_ranges_are_set_as_the_register_map_says():
    clock, i2c = bus(0x68, MotionDevice, *range(7))
    MPU6050(i2c, 16, 2000).start()
    registers = i2c._devices[0x68]._registers
    assert registers[0x1B] == 0x18 and registers[0x1C] == 0x18  # FS_SEL 3, AFS_SEL 3
    assert not registers[0x6B] & 0x40  # awake


def test_another_chip_at_the_address_is_not_taken_for_it():
    clock, i2c = bus(0x68, MotionDevice, *range(7))
    i2c._devices[0x68]._registers[0x75] = 0x71
    with pytest.raises(OSError):
        MPU6050(i2c, 16, 2000).start()


@pytest.mark.parametrize("chip", [MS5611, SHT3x])
def test_an_absent_chip_is_an_oserror(chip):
    with pytest.raises(OSError):
        (chip(I2C(Clock(0))).reset if chip is MS5611 else chip(I2C(Clock(0))).convert)()
