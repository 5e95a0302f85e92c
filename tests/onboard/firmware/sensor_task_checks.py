# Checks of the sensors' tasks, run like driver_checks.py on every interpreter by test_drivers_everywhere.py.

from driver_bench import BMP280_P, BMP280_PA, BMP280_T, BMP280_WORDS, Rows, bmp280, checks_of, expect, tmp117
from onboard.firmware.probe_task import ProbeTask
from onboard.firmware.sht3x import SHT3x
from onboard.firmware.tasks import AirTask, PressureTask
from onboard.simulator.board.humidity import HumidityDevice
from onewire_checks import Wire
from protocol.table import DEVICES, EVENTS

MISSING = 65535
MISSING_COUNTS = 0xFFFFFFFF
MISSING_SIGNED = -32768
NAMES = dict(EVENTS)


class Book:
    """Stands for the store and the events: keeps what it is told."""

    def __init__(self):
        self.records = []
        self.events = []

    def emit(self, layout, tick):
        self.records.append((tick, list(layout.values)))

    def note(self, code, subject, detail):
        self.events.append((NAMES[code], DEVICES[subject], detail))


def run(task, clock):
    """Let a task take one sample as the scheduler does. Returns the waits between its steps."""
    waits = []
    while True:
        due = task.step(clock.tick())
        if not due:
            return waits
        waits.append(due)
        clock.spend_us(1000 * due)


class Dead:
    """A device that does not answer."""

    def __init__(self, device):
        self.device = device

    def write(self, buffer):
        raise OSError(19)

    def write_register(self, register, buffer):
        raise OSError(19)

    read_into = write


def sht3x(clock, i2c):
    i2c.attach(0x44, HumidityDevice(clock, Rows(0x6666, 0xBEEF)))
    return SHT3x(i2c)


def check_a_pressure_task_runs_with_the_bmp280():
    clock, chip, _, _ = bmp280()
    book = Book()
    told = []
    task = PressureTask(200, chip, book, book, told.append)
    clock.spend_us(10000)
    expect(run(task, clock), [chip.reset_ms, 45])
    expect(told, [BMP280_WORDS])  # the manifest was without them
    expect(run(task, clock), [45])
    expect([values for _, values in book.records], [[BMP280_P, BMP280_T]] * 2)
    expect(book.records[0][0], 10)  # the time at which the sample began
    expect((abs(task.pressure_pa - BMP280_PA) <= 2, book.events, len(told)), (True, [], 1))


def check_a_bmp280_that_was_away_is_started_anew():
    clock, chip, device, _ = bmp280()
    book = Book()
    task = PressureTask(200, chip, book, book, lambda words: None)
    run(task, clock)
    chip._i2c.attach(0x76, Dead(device))
    for _ in range(3):
        expect(run(task, clock), [])
        expect(task.pressure_pa, None)
    device._power_on()
    chip._i2c.attach(0x76, device)
    expect(run(task, clock), [chip.reset_ms, 45])
    good = [BMP280_P, BMP280_T]
    gone = [MISSING_COUNTS, MISSING_COUNTS]
    expect([values for _, values in book.records], [good, gone, gone, gone, good])
    expect(book.events, [("device failed", "barometer", 19), ("device returned", "barometer", 3)])


def check_an_air_task_waits_for_the_tmp117_and_the_humidity_chip_together():
    clock, chip, _, _ = tmp117(0xF380)
    book = Book()
    task = AirTask(1000, chip, sht3x(clock, chip._i2c), book, book)
    expect(run(task, clock), [17, 124])  # 17 ms, and 141 ms in all
    expect(book.records, [(0, [0xF380 ^ 0x8000, 0xBEEF, 0x6666])])
    expect(book.events, [])


def check_an_air_task_does_with_either_sensor_alone():
    clock, chip, _, _ = tmp117()
    book = Book()
    expect(run(AirTask(1000, chip, None, book, book), clock), [141])
    expect(run(AirTask(1000, None, sht3x(clock, chip._i2c), book, book), clock), [17])
    expect([values for _, values in book.records], [[0x8C80, MISSING, MISSING], [MISSING, 0xBEEF, 0x6666]])
    expect(book.events, [])


def check_an_air_tasks_thermometer_fails_and_returns_alone():
    clock, chip, device, _ = tmp117()
    book = Book()
    task = AirTask(1000, chip, sht3x(clock, chip._i2c), book, book)
    run(task, clock)
    chip._i2c.attach(0x48, Dead(device))
    expect(run(task, clock), [17])
    chip._i2c.attach(0x48, device)
    run(task, clock)
    first = [0x8C80, 0xBEEF, 0x6666]
    expect([values for _, values in book.records], [first, [MISSING, 0xBEEF, 0x6666], first])
    name = "outside_temperature"
    expect(book.events, [("device failed", name, 19), ("device returned", name, 1)])


def check_an_air_task_begins_anew_after_an_unexpected_error():
    clock, chip, _, _ = tmp117()
    book = Book()
    task = AirTask(1000, chip, sht3x(clock, chip._i2c), book, book)
    good = chip.counts
    task.step(0)
    clock.spend_us(17000)
    task.step(17)
    chip.counts = lambda: 1 // 0
    try:
        task.step(150)
        raise AssertionError("no error")
    except ZeroDivisionError:
        pass
    chip.counts = good
    expect(run(task, clock), [17, 124])
    expect(book.records[-1][1], [0x8C80, 0xBEEF, 0x6666])


def probe_task(wire, numbers):
    book = Book()
    return ProbeTask(2000, dict(zip(numbers, wire.chips)), book, book), book


def check_a_probe_task_logs_a_record_for_each_thermometer():
    wire = Wire(0x0191, 0xFE6F, 0)
    task, book = probe_task(wire, (1, 2, 3))
    expect(run(task, wire.clock), [751, 5, 5])
    expect(book.records, [(0, [1, 401]), (0, [2, -401]), (0, [3, 0])])
    expect(book.events, [])


def check_a_probe_that_is_gone_is_missing_and_the_others_are_not():
    wire = Wire(0x0191, 0xFE6F)
    task, book = probe_task(wire, (1, 2))
    run(task, wire.clock)
    away = wire.pin._slaves.pop(0)
    run(task, wire.clock)
    run(task, wire.clock)
    wire.pin.attach(away)
    run(task, wire.clock)
    values = [values for _, values in book.records]
    expect(values[0::2], [[1, 401], [1, MISSING_SIGNED], [1, MISSING_SIGNED], [1, 401]])
    expect(values[1::2], [[2, -401]] * 4)
    expect(book.events, [("device failed", "probe", 5), ("device returned", "probe", 2)])


def check_a_bus_without_thermometers_is_told_once_and_leaves_missing_values():
    wire = Wire(1, 2)
    task, book = probe_task(wire, (1, 2))
    slaves = wire.pin._slaves[:]
    del wire.pin._slaves[:]
    expect(run(task, wire.clock) + run(task, wire.clock), [])
    expect([values for _, values in book.records], [[1, MISSING_SIGNED], [2, MISSING_SIGNED]] * 2)
    expect(book.events, [("device failed", "probe", 19)])
    for slave in slaves:
        wire.pin.attach(slave)
    run(task, wire.clock)
    expect([values for _, values in book.records[-2:]], [[1, 1], [2, 2]])
    expect(book.events[1:], [("device returned", "probe", 2)])


def check_an_outside_thermometer_shares_the_bus_with_the_probes():
    wire = Wire(0x0191, 0xFE6F)
    book = Book()
    air = AirTask(1000, wire.chips[0], None, book, book)
    probes = ProbeTask(2000, {1: wire.chips[1]}, book, book)
    due = air.step(0)
    wire.clock.spend_us(100000)
    rest = probes.step(100)
    expect((due, rest), (751, 651))  # it joins the conversion that runs
    wire.clock.spend_us(rest * 1000)
    probes.step(0)
    air.step(0)
    expect([values for _, values in book.records], [[1, -401], [401 ^ 0x8000, MISSING, MISSING]])


CHECKS = checks_of(globals())
