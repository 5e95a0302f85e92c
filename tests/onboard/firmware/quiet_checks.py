# Steady state: what is asked again and again leaves the heap alone. The virtual devices do not, so there are
# quiet ones. Run like driver_checks.py on every interpreter by test_drivers_everywhere.py.

import sys

from driver_bench import BMP280_WORDS, checks_of
from onboard.firmware.bmp280 import BMP280
from onboard.firmware.ds18b20 import DS18B20, Conversion
from onboard.firmware.onewire import OneWire, crc8
from onboard.firmware.probe_task import ProbeTask
from onboard.firmware.sht3x import SHT3x
from onboard.firmware.tasks import AirTask, PressureTask
from onboard.firmware.tmp117 import TMP117
from onewire_checks import rom_code


class QuietBus:
    """Answers every reading of registers with bytes that change."""

    def __init__(self):
        self._turn = 0

    def readfrom_mem_into(self, address, register, buffer):
        self._turn += 1
        for i in range(len(buffer)):
            buffer[i] = self._turn * 37 + i * 11 & 0xFF
        if register == 0xF3:
            buffer[0] = 0  # not measuring
            buffer[4] = 0x40 | self._turn & 0x3F
            buffer[7] = 0x70 | self._turn & 0x0F
        elif register == 0x01:
            buffer[0] = 0x20  # data ready
            buffer[1] = 0x20
        elif register == 0x0F:
            buffer[0] = 0x01
            buffer[1] = 0x17

    def writeto_mem(self, address, register, buffer):
        pass

    def writeto(self, address, buffer):
        pass

    def readfrom_into(self, address, buffer):
        for i in range(6):  # SHT3x-DIS data sheet, 4.12: 0xBEEF has the check sum 0x92
            buffer[i] = b"\xbe\xef\x92\xbe\xef\x92"[i]


class QuietPin:
    """Answers with a scratchpad whose reading changes."""

    def __init__(self):
        self._data = bytearray(b"\x91\x01\x4b\x46\x7f\xff\x0c\x10")
        self._crc = 0
        self._slot = 0

    def reset(self):
        self._data[0] = self._data[0] + 3 & 0xFF
        self._crc = crc8(self._data)
        self._slot = 0
        return True

    def write_bit(self, bit):
        pass

    def read_bit(self):
        slot = self._slot
        self._slot = slot + 1
        byte = self._data[slot >> 3] if slot < 64 else self._crc
        return byte >> (slot & 7) & 1


def locked(function, times):
    """Call a function so many times while nothing may be allocated."""
    try:
        from micropython import heap_lock, heap_unlock
    except ImportError:  # CPython has no such lock; there the calls alone are checked
        for _ in range(times):
            function()
        return
    heap_lock()
    try:
        for _ in range(times):
            function()
    finally:
        heap_unlock()


def check_the_lock_on_the_heap_sees_an_allocation():
    kept = []
    try:
        locked(lambda: kept.append([len(kept)]), 9)
    except MemoryError:
        return
    if sys.implementation.name == "micropython":
        raise AssertionError("the heap was not locked")


def check_the_drivers_allocate_nothing_in_steady_state():
    barometer = BMP280(QuietBus())
    barometer.words = BMP280_WORDS
    outside = TMP117(QuietBus())
    bus = OneWire(QuietPin())
    tick = [0]
    probe = DS18B20(bus, rom_code(1), Conversion(bus, lambda: tick[0]))
    values = [0, 0]

    def ask():
        barometer.start()
        barometer.proceed(values, 0, 1)
        barometer.pressure_pa(values[0], values[1])
        outside.start()
        outside.counts()
        probe.start()
        probe.counts()
        tick[0] += 1000

    ask()
    locked(ask, 200)


class Mute:
    """A store and events that keep nothing."""

    def emit(self, layout, tick):
        pass

    def note(self, code, subject, detail):
        pass


def check_the_tasks_allocate_nothing_in_steady_state():
    mute = Mute()
    barometer = BMP280(QuietBus())
    barometer.words = BMP280_WORDS
    bus = OneWire(QuietPin())
    tick = [0]
    conversion = Conversion(bus, lambda: tick[0])
    probes = {number: DS18B20(bus, rom_code(number), conversion) for number in (1, 2)}
    tasks = (
        PressureTask(200, barometer, mute, mute, None),
        AirTask(1000, TMP117(QuietBus()), SHT3x(QuietBus()), mute, mute),
        ProbeTask(2000, probes, mute, mute),
    )

    def step():
        for task in tasks:
            while task.step(tick[0]):
                tick[0] += 800

    step()
    locked(step, 100)


CHECKS = checks_of(globals())
