# Checks of the drivers that a configuration names, run like driver_checks.py on every interpreter by
# test_drivers_everywhere.py.

from driver_bench import BMP280_WORDS, Rows, bmp280, bus_with, checks_of, expect
from onboard.firmware.parts import Sensors
from onboard.simulator.board.humidity import HumidityDevice
from onboard.simulator.board.motion import MotionDevice
from onewire_checks import Wire


class Configuration:
    def __init__(self, sensors, addresses=()):
        self.sensors = sensors
        self.addresses = dict(addresses)


class Wiring:
    """A board: buses and inputs."""

    def __init__(self, clock, i2c, onewire=None):
        self.i2c = i2c
        self.onewire = onewire
        self.ticks_ms = clock.tick

    def adc(self, role):
        return self

    def read_u16(self):
        return 1234


def check_a_board_without_sensors_has_no_drivers():
    clock, i2c, _, _ = bus_with(0x44, HumidityDevice, 0, 0)
    parts = Sensors(Configuration({}), Wiring(clock, i2c))
    expect((parts.barometer(), parts.thermometer(), parts.humidity(), parts.motion()), (None,) * 4)
    expect(parts.probes(), {})
    expect((parts.adc("battery"), parts.adc("rail")), (None, None))


def check_the_configured_chips_have_their_drivers_at_their_addresses():
    clock, chip, _, _ = bmp280(0x77)
    i2c = chip._i2c
    sensors = {"barometer": ["bmp280"], "outside_temperature": ["ntc_divider", 10000, "1e-3", "2e-4", "1e-7"]}
    parts = Sensors(Configuration(sensors, {"barometer": 0x77}), Wiring(clock, i2c))
    barometer = parts.barometer()
    clock.spend_us(5000)
    barometer.read_prom()
    expect(barometer.words, BMP280_WORDS)
    expect((parts.thermometer().start(), parts.thermometer().counts()), (0, 1234))


def check_the_motion_chip_has_its_ranges_and_the_humidity_chip_its_address():
    clock, i2c, device, _ = bus_with(0x69, MotionDevice, 1, 2, 3, 4, 5, 6, 7)
    i2c.attach(0x45, HumidityDevice(clock, Rows(0x6666, 0xBEEF)))
    sensors = {"motion": ["mpu6050", 4, 500], "humidity": ["sht3x"]}
    parts = Sensors(Configuration(sensors, {"motion": 0x69, "humidity": 0x45}), Wiring(clock, i2c))
    parts.motion().start()
    # RM-MPU-6000A: AFS_SEL 1, FS_SEL 1.
    expect((device._registers[0x1C], device._registers[0x1B]), (0x08, 0x08))
    expect(parts.humidity().convert(), 17)


def check_the_thermometers_of_the_bus_are_found_by_their_rom_codes():
    wire = Wire(100, 200, 300)
    text = ["".join(["{:02x}".format(byte) for byte in rom]) for rom in wire.roms]
    sensors = {
        "outside_temperature": ["ds18b20", text[1]],
        "probe_2": ["ds18b20", text[0]],
        "probe_1": ["ds18b20", text[2]],
    }
    parts = Sensors(Configuration(sensors), Wiring(wire.clock, None, wire))
    probes = parts.probes()
    outside = parts.thermometer()
    due = outside.start()
    wire.clock.spend_us(due * 1000)
    expect(sorted(probes), [1, 2])
    found = [outside.counts(), probes[1].counts(), probes[2].counts()]
    expect(found, [200 ^ 0x8000, 300 ^ 0x8000, 100 ^ 0x8000])


def check_a_chip_without_a_driver_is_named():
    for role, ask in (
        ("barometer", "barometer"), ("outside_temperature", "thermometer"), ("humidity", "humidity"),
        ("motion", "motion"), ("probe_1", "probes"),
    ):
        parts = Sensors(Configuration({role: ["lm35", "00"]}), Wiring(bmp280()[0], None))
        try:
            getattr(parts, ask)()
        except ValueError as error:
            expect(str(error), "no driver for the " + role + " chip lm35")
            continue
        raise AssertionError(role)


CHECKS = checks_of(globals())
