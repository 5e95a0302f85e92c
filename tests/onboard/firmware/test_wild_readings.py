"""Readings that no sensor under a balloon gives, and devices that come and go: found by tools/campaign_faults.py."""

import pytest

from onboard.firmware.mpu6050 import MPU6050
from onboard.firmware.ms5611 import MS5611
from onboard.firmware.phase import CLIMBING, FALLING, LANDED, PhaseTracker
from onboard.firmware.tasks import Device


class Level:
    """A bus on which every byte reads the same."""

    def __init__(self, level):
        self.level = level

    def writeto(self, address, buffer):
        pass

    writeto_mem = readfrom_mem = lambda self, *_: None

    def readfrom_mem_into(self, address, register, buffer):
        for i in range(len(buffer)):
            buffer[i] = 0x68 if register == 0x75 else self.level  # who it is, of the MPU-6050


@pytest.mark.parametrize("level", [0, 0xFF])
def test_a_barometer_that_says_all_zeros_or_ones_has_failed(level):
    chip = MS5611(Level(level))
    chip.start()
    with pytest.raises(OSError, match="5"):
        chip.proceed([0, 0], 0, 1)


@pytest.mark.parametrize("level", [0, 0xFF])
def test_a_motion_chip_that_says_all_zeros_or_ones_has_failed_with_its_thermometer(level):
    bus = Level(level)
    chip = MPU6050(bus, 16, 2000)
    chip.start()
    for reading in (lambda: chip.read_into([0] * 6, 0, 3), chip.temperature):
        with pytest.raises(OSError, match="5"):
            reading()
    bus.level = 0x10
    chip.read_into([0] * 6, 0, 3)
    assert chip.temperature() == 0x1010


def test_a_motion_chip_that_says_nonsense_from_the_boot_on_has_no_temperature():
    bus = Level(0)
    chip = MPU6050(bus, 16, 2000)
    bus.readfrom_mem_into = lambda address, register, buffer: buffer.__setitem__(slice(None), bytes(len(buffer)))
    with pytest.raises(OSError, match="19"):
        chip.start()
    with pytest.raises(OSError, match="5"):
        chip.temperature()


def fall(wild, seconds=400):
    """The phases while both sources fall by 5 m/s from 2000 m, the barometer with wild readings at some seconds."""
    tracker = PhaseTracker(FALLING)
    phases = set()
    for second in range(seconds):
        height = max(2000 - 5 * second, 90)
        tracker.step(wild.get(second, height), height)
        phases.add(tracker.phase)
    return tracker, phases


@pytest.mark.parametrize("height", [-5000, 9000])
def test_one_wild_height_in_the_fall_is_no_climb(height):
    tracker, phases = fall({100: height, 103: height})
    assert phases == {FALLING} and tracker.phase == FALLING


def test_a_height_that_jumps_and_stays_begins_its_track_anew():
    wild = {second: 2000 - 5 * second + 3000 for second in range(100, 300)}
    tracker, phases = fall(wild, 600)
    assert phases == {FALLING, LANDED} and tracker.phase == LANDED


def test_a_real_climb_after_a_jump_is_seen():
    tracker = PhaseTracker(0)
    for second in range(300):
        height = 100 + (3000 if second > 20 else 0) + max(0, 5 * (second - 60))
        tracker.step(height, None)
    assert tracker.phase == CLIMBING


class Notes:
    def __init__(self):
        self.told = []

    def note(self, code, subject, detail):
        self.told.append((code, detail))


FAILED, RETURNED = 3, 4  # codes of protocol/FORMAT.md


def test_a_device_that_fails_once_is_said_to_fail_and_to_return_at_once():
    notes = Notes()
    device = Device("humidity", notes)
    device.failed(OSError(5))
    device.works()
    assert notes.told == [(FAILED, 5), (RETURNED, 1)]


def test_a_device_that_comes_and_goes_for_an_hour_does_not_fill_the_log():
    notes = Notes()
    device = Device("humidity", notes)
    for second in range(3600):
        if second % 5 < 2:
            device.failed(OSError(5))
        else:
            device.works()
    assert len(notes.told) < 10
    for _ in range(16):
        device.works()
    assert notes.told[-1][0] == RETURNED
    assert sum(detail for code, detail in notes.told if code == RETURNED) == 2 * 3600 // 5  # each failure is counted


def test_a_device_that_worked_for_long_is_trusted_again():
    notes = Notes()
    device = Device("humidity", notes)
    for _ in range(3):
        device.failed(OSError(5))
        for _ in range(40):
            device.works()
    assert [code for code, _ in notes.told] == [FAILED, RETURNED] * 3


def test_a_device_that_is_away_is_asked_less_often_and_at_once_when_it_is_back():
    device = Device("motion", Notes())
    asked = []
    for tick in range(0, 10_000, 100):
        if not device.rests(tick):
            asked.append(tick)
            device.failed(OSError(110))
    assert asked[:10] == list(range(0, 1000, 100)) and 15 <= len(asked[10:]) <= 25
    device.works()
    assert not device.rests(10_050) and not device.rests(10_060)
