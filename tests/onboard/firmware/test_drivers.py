"""The drivers' arithmetic against the data sheets.

driver_checks.py and onewire_checks.py have them on the virtual devices.
"""

import pytest
from driver_bench import BMP280_P, BMP280_T, BMP280_WORDS, MS5611_WORDS, bus_with, ms5611
from hypothesis import given
from hypothesis import strategies as st

from onboard.firmware.bmp280 import BMP280
from onboard.firmware.mpu6050 import MPU6050
from onboard.firmware.ms5611 import MS5611, crc4
from onboard.firmware.onewire import crc8 as maxim_crc8
from onboard.firmware.sht3x import crc8
from onboard.simulator.board.ds18b20 import _crc8 as device_crc8
from onboard.simulator.board.motion import MotionDevice
from onboard.simulator.world.bmp280_counts import bmp280_counts

SMALL = 2**30  # 31-bit small integers, those of a 32-bit MicroPython, hold -SMALL to SMALL - 1


class Small(int):
    """An integer that refuses to become one that a board keeps on the heap."""


def _checked(name):
    def operation(self, other):
        result = getattr(int, name)(int(self), int(other))
        assert -SMALL <= result < SMALL, f"{name}({self}, {other}) is {result}"
        return Small(result)

    return operation


for _name in ("add", "sub", "mul", "floordiv", "mod", "lshift", "rshift"):
    for _side in ("", "r"):
        setattr(Small, f"__{_side}{_name}__", _checked(f"__{_side}{_name}__"))


def test_the_watch_over_small_integers_sees_a_big_one():
    with pytest.raises(AssertionError):
        Small(2**20) * 1024
    with pytest.raises(AssertionError):
        3 + Small(2**30 - 1)
    assert Small(2**20) * 1000 // 7 == 2**20 * 1000 // 7


def test_crc4_of_the_application_note():
    # AN520, example code: PROM 3132 3334 3536 3738 3940 4142 4344 4500 has CRC 0xB (from memory).
    assert crc4([0x3132, 0x3334, 0x3536, 0x3738, 0x3940, 0x4142, 0x4344, 0x4500]) == 0xB


@given(st.integers(0, 6), st.integers(0, 15))
def test_a_flipped_bit_in_the_prom_is_found(word, bit):
    _, chip, device, _ = ms5611()
    device._prom[word] ^= 1 << bit
    with pytest.raises(OSError):
        chip.read_prom()


def ms5611_first_order_pa(d1, d2):
    # The data sheet's formulas with exact integers.
    c1, c2, c3, c4, c5, _ = MS5611_WORDS
    difference = d2 - c5 * 2**8
    offset = c2 * 2**16 + c4 * difference // 2**7
    sensitivity = c1 * 2**15 + c3 * difference // 2**8
    return (d1 * sensitivity // 2**21 - offset) // 2**15


@given(st.integers(2_000_000, 11_000_000), st.integers(7_000_000, 9_500_000))
def test_the_ms5611s_small_integers_stay_within_ten_pascals(d1, d2):
    chip = MS5611(None)
    chip.words = MS5611_WORDS
    assert abs(chip.pressure_pa(d1, d2) - ms5611_first_order_pa(d1, d2)) <= 10


@given(st.integers(2_000_000, 9_500_000), st.integers(6_500_000, 9_300_000))
def test_no_step_of_the_ms5611s_pressure_needs_a_big_integer(d1, d2):
    # The usual range of D1 and D2, -40 to +40 degC.
    chip = MS5611(None)
    chip.words = tuple(Small(word) for word in MS5611_WORDS)
    chip.pressure_pa(Small(d1), Small(d2))


def bmp280_double_pa(counts, temperature_counts, words):
    # Bosch BST-BMP280-DS001, section 8.1, line by line in double precision.
    t1, t2, t3, p1, p2, p3, p4, p5, p6, p7, p8, p9 = words
    var1 = (temperature_counts / 16384.0 - t1 / 1024.0) * t2
    var2 = (temperature_counts / 131072.0 - t1 / 8192.0) * (temperature_counts / 131072.0 - t1 / 8192.0) * t3
    t_fine = var1 + var2
    var1 = t_fine / 2.0 - 64000.0
    var2 = var1 * var1 * p6 / 32768.0
    var2 = var2 + var1 * p5 * 2.0
    var2 = var2 / 4.0 + p4 * 65536.0
    var1 = (p3 * var1 * var1 / 524288.0 + p2 * var1) / 524288.0
    var1 = (1.0 + var1 / 32768.0) * p1
    p = 1048576.0 - counts
    p = (p - var2 / 4096.0) * 6250.0 / var1
    var1 = p9 * p * p / 2147483648.0
    var2 = p * p8 / 32768.0
    return p + (var1 + var2 + p7) / 16.0


def test_the_double_formula_gives_the_data_sheets_example():
    # Section 3.12: 100653.27 Pa.
    assert round(bmp280_double_pa(BMP280_P, BMP280_T, BMP280_WORDS), 2) == 100653.27


bmp280_air = given(
    pressure_pa=st.floats(1000.0, 110000.0),
    celsius=st.floats(-60.0, 60.0),
    # Words about those of the data sheet's example. How far real chips spread is not published: a guess.
    spread=st.tuples(*[st.floats(0.93, 1.07)] * 12),
)


def bmp280_at(pressure_pa, celsius, spread):
    words = tuple(round(word * share) for word, share in zip(BMP280_WORDS, spread))
    counts, temperature_counts = bmp280_counts([pressure_pa], [celsius + 273.15], words)
    return int(counts[0]), int(temperature_counts[0]), words


@bmp280_air
def test_the_bmp280s_small_integers_stay_within_five_pascals(pressure_pa, celsius, spread):
    counts, temperature_counts, words = bmp280_at(pressure_pa, celsius, spread)
    chip = BMP280(None)
    chip.words = words
    exact_pa = bmp280_double_pa(counts, temperature_counts, words)
    assert abs(chip.pressure_pa(counts, temperature_counts) - exact_pa) <= 5


@bmp280_air
def test_no_step_of_the_bmp280s_pressure_needs_a_big_integer(pressure_pa, celsius, spread):
    counts, temperature_counts, words = bmp280_at(pressure_pa, celsius, spread)
    chip = BMP280(None)
    chip.words = tuple(Small(word) for word in words)
    chip.pressure_pa(Small(counts), Small(temperature_counts))


twenty_bits = st.integers(0, 2**20 - 1)


@given(twenty_bits, twenty_bits, st.lists(st.integers(-32768, 32767), min_size=12, max_size=12))
def test_words_of_a_broken_bmp280_are_no_error_in_flight(counts, temperature_counts, words):
    chip = BMP280(None)
    chip.words = tuple(word & 0xFFFF if i in (0, 3) else word for i, word in enumerate(words))
    assert isinstance(chip.pressure_pa(counts, temperature_counts), int)


def test_sensirions_crc_of_beef():
    assert crc8(bytes.fromhex("beef"), 0) == 0x92  # SHT3x-DIS data sheet, table "I2C CRC properties"


@given(st.binary(min_size=8, max_size=8))
def test_the_drivers_and_the_devices_check_sum_of_1_wire_agree(data):
    assert maxim_crc8(data) == device_crc8(data)
    assert maxim_crc8(data + bytes([maxim_crc8(data)])) == 0


@given(st.tuples(*[st.integers(-32767, 32767)] * 7).filter(any))
def test_motion_words_keep_their_signs(row):
    _, i2c, _, _ = bus_with(0x68, MotionDevice, *row)
    chip = MPU6050(i2c, 16, 2000)
    values = [None] * 6
    chip.start()
    chip.read_into(values, 0, 3)
    assert tuple(values) == (*row[:3], *row[4:])
    assert chip.temperature() == row[3]


def test_the_ranges_are_set_as_the_register_map_says():
    # InvenSense RM-MPU-6000A, registers 27, 28 and 107.
    _, i2c, device, _ = bus_with(0x68, MotionDevice, *range(7))
    MPU6050(i2c, 16, 2000).start()
    assert device._registers[0x1B] == 0x18 and device._registers[0x1C] == 0x18  # FS_SEL 3, AFS_SEL 3
    assert not device._registers[0x6B] & 0x40  # awake


def test_another_chip_at_the_motion_chips_address_is_not_taken_for_it():
    _, i2c, device, _ = bus_with(0x68, MotionDevice, *range(7))
    device._registers[0x75] = 0x71
    with pytest.raises(OSError):
        MPU6050(i2c, 16, 2000).start()
