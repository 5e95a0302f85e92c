"""The virtual board's faults: what each does to the part that it befalls, and that all interpreters agree."""

import dataclasses
from functools import reduce

import pytest

from ground.mission import load_mission
from onboard.firmware.mpu6050 import MPU6050
from onboard.firmware.sht3x import SHT3x
from onboard.simulator import runners
from onboard.simulator.board.bus import I2C
from onboard.simulator.board.clock import Clock
from onboard.simulator.board.faults import DriftingClock, Faults
from onboard.simulator.board.humidity import HumidityDevice
from onboard.simulator.board.motion import MotionDevice
from onboard.simulator.commands import DEMO_MISSION
from onboard.simulator.prepare import CARD_NAME, add_faults, copy_prepared, prepare

FOREVER = 1 << 28


class Row:
    """A stream whose reading is the second."""

    def at(self, world_ms):
        self.second = world_ms // 1000

    def value(self, column):
        return 100 + 10 * column + self.second


def made(*rows):
    faults = Faults([list(row) for row in rows], 7)
    return faults, faults.clock(0, 0)


def humidity_chip(faults, clock, stream=None):
    bus = faults.bus(I2C(clock))

    def make():
        return HumidityDevice(clock, stream or Row())

    bus.attach(0x44, faults.chip("humidity", make(), make))
    return SHT3x(bus)


def measure(chip, clock):
    wait = chip.convert()
    clock.spend_us(1000 * wait)
    chip.fetch()
    return chip.humidity


def test_a_part_that_no_fault_names_is_not_wrapped():
    faults, clock = made(("silent", "barometer", 0, FOREVER, 0))
    chip, bus, card = MotionDevice(clock, Row()), I2C(clock), object()
    assert type(clock) is Clock
    assert faults.chip("motion", chip, None) is chip and faults.bus(bus) is bus and faults.card(card) is card


def test_a_silent_chip_answers_before_and_after():
    faults, clock = made(("silent", "humidity", 1000, 2000, 0))
    chip = humidity_chip(faults, clock)
    measure(chip, clock)
    clock.spend_us(1_000_000)
    with pytest.raises(OSError, match="19"):
        chip.convert()
    clock.spend_us(1_000_000)
    assert measure(chip, clock) == 112  # what the second is, in column 1


def test_a_chip_that_was_silent_has_lost_its_settings():
    # The register map of the MPU-6050: after power-on it sleeps.
    faults, clock = made(("silent", "motion", 1000, 2000, 0))
    bus = I2C(clock)

    def make():
        return MotionDevice(clock, Row())

    bus.attach(0x68, faults.chip("motion", make(), make))
    chip = MPU6050(bus, 16, 2000)
    chip.start()
    chip.read_into([0] * 6, 0, 3)
    clock.spend_us(1_500_000)
    with pytest.raises(OSError, match="19"):
        chip.read_into([0] * 6, 0, 3)
    clock.spend_us(1_000_000)
    with pytest.raises(OSError, match="5"):
        chip.read_into([0] * 6, 0, 3)
    chip.start()
    chip.read_into([0] * 6, 0, 3)


@pytest.mark.parametrize("kind", ["zeros", "ones", "garbled"])
def test_the_check_sum_of_the_humidity_chip_notices_a_wrong_answer(kind):
    faults, clock = made((kind, "humidity", 0, FOREVER, 1000))
    with pytest.raises(OSError, match="5"):
        measure(humidity_chip(faults, clock), clock)


def test_a_bus_that_is_held_down_takes_its_time_from_all():
    faults, clock = made(("stuck", "bus", 0, 1000, 50))
    chip = humidity_chip(faults, clock)
    with pytest.raises(OSError, match="110"):
        chip.convert()
    assert clock.world_ms() == 50
    clock.spend_us(1_000_000)
    measure(chip, clock)


def test_a_frozen_element_says_what_it_said_when_it_froze_and_noise_is_within_its_size():
    faults, clock = made(("frozen", "humidity", 2000, 9000, 0), ("noisy", "humidity", 10_000, FOREVER, 20))

    class Tape:
        streams = {"humidity": Row()}

    faults.streams(Tape, {"humidity": ["sht3x", 0x44]})
    chip = humidity_chip(faults, clock, Tape.streams["humidity"])
    clock.spend_us(5_000_000)
    assert measure(chip, clock) == 112
    clock.spend_us(6_000_000)
    noisy = [measure(chip, clock) for _ in range(20)]
    assert len(set(noisy)) > 5 and all(abs(value - 121) <= 21 for value in noisy)


def test_a_crystal_that_runs_100_ppm_fast_is_100_ms_ahead_after_1000_s():
    clock = DriftingClock(0, 0, [["drift", "clock", 0, 1_000_000, 100]])
    while clock.tick() < 1_000_000:
        clock.spend_us(20_000)
    assert clock.tick() - clock.world_ms() == 100
    clock.spend_us(500_000)
    clock.spend_us(500_000)
    assert clock.tick() - clock.world_ms() == 100  # it is over


class Says:
    """A receiver's sentences of a second."""

    text = (
        b"$GNRMC,102030.00,A,4701.92600,N,01948.76200,E,5.000,90.00,211126,,,A*00\r\n"
        b"$GNGGA,102030.00,4701.92600,N,01948.76200,E,1,10,0.90,100.0,M,43.5,M,,*00\r\n"
    )

    def select(self, second):
        return len(self.text)

    def byte(self, position):
        return self.text[position]


def test_a_receiver_without_satellites_goes_on_with_its_clock():
    faults, _ = made(("nofix", "gnss", 0, FOREVER, 0))

    class Tape:
        streams = {}
        sentences = Says()
        low_sentences = None

    faults.streams(Tape, {})
    text = bytes(Tape.sentences.byte(i) for i in range(Tape.sentences.select(3))).decode("ascii")
    rmc, gga = text.splitlines()
    for line in (rmc, gga):  # NMEA 0183: the exclusive or of what stands between $ and *
        body, check = line[1:].split("*")
        assert int(check, 16) == reduce(lambda total, letter: total ^ ord(letter), body, 0)
    assert rmc.split(",")[1:3] == ["102030.00", "V"] and rmc.split(",")[9] == "211126"
    assert gga.split(",")[6] == "0" and "4701" not in text


SCHEDULE = [  # of a flight of some 500 s: all that a board can suffer
    ["silent", "barometer", 40_000, 50_000, 0], ["garbled", "humidity", 30_000, 200_000, 200],
    ["stuck", "bus", 60_000, 70_000, 50], ["frozen", "outside_temperature", 80_000, 120_000, 0],
    ["shifted", "battery", 90_000, 300_000, -90_000], ["noisy", "barometer", 100_000, 150_000, 30_000],
    ["ones", "motion", 100_000, 103_000, 0], ["zeros", "rail", 100_000, 110_000, 0],
    ["nofix", "gnss", 110_000, 130_000, 0], ["garbled", "gnss", 140_000, 200_000, 30],
    ["babbling", "gnss", 205_000, 215_000, 0], ["stalling", "card", 0, 500_000, 300],
    ["refusing", "card", 150_000, 180_000, 300], ["pulled", "card", 220_000, 235_000, 0],
    ["reset", "board", 250_000, 252_000, 1], ["reset", "board", 320_000, 321_000, 3],
    ["silent", "gnss", 260_000, 280_000, 0], ["drift", "clock", 0, 400_000, -60],
    ["tight", "memory", 300_000, 340_000, 16_000], ["frozen", "gnss", 330_000, 345_000, 0],
]  # fmt: skip


@pytest.fixture(scope="module")
def flown(tmp_path_factory):
    """A low flight, prepared, and flown with the schedule on CPython."""
    base = tmp_path_factory.mktemp("faults")
    mission = load_mission(DEMO_MISSION)
    mission = dataclasses.replace(mission, balloon=dataclasses.replace(mission.balloon, burst_diameter_m=1.65))
    prepare(mission, 3, base / "calm", wait_s=75.0, after_s=60.0)
    copy_prepared(base / "calm", base / "cpython")
    add_faults(base / "cpython", SCHEDULE)
    for name in ("unix", "wasm"):
        copy_prepared(base / "cpython", base / name)
    runners.run_in_process(base / "cpython")
    runners.stage(base / "staged")
    return base


@pytest.mark.parametrize("name", ["unix", "wasm"])
def test_a_flight_with_faults_is_the_same_to_the_byte_on_every_interpreter(flown, name):
    run = runners.run_on_unix if name == "unix" else runners.run_on_wasm
    run(flown / name, flown / "staged")
    assert (flown / name / CARD_NAME).read_bytes() == (flown / "cpython" / CARD_NAME).read_bytes()


def test_an_empty_schedule_changes_no_byte(flown):
    copy_prepared(flown / "calm", flown / "empty")
    add_faults(flown / "empty", [])
    for name in ("calm", "empty"):
        runners.run_in_process(flown / name)
    calm, empty, faulty = ((flown / name / CARD_NAME).read_bytes() for name in ("calm", "empty", "cpython"))
    assert calm == empty != faulty
