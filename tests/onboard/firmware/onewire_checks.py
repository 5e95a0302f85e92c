# Checks of the 1-Wire bus and the DS18B20 on virtual slaves, run like driver_checks.py on every interpreter
# by test_drivers_everywhere.py.

from driver_bench import Rows, checks_of, expect, expect_error, wait
from onboard.firmware.ds18b20 import DS18B20, Conversion
from onboard.firmware.onewire import OneWire, crc8
from onboard.simulator.board.clock import Clock
from onboard.simulator.board.ds18b20 import Ds18b20Device
from onboard.simulator.board.onewire import OneWirePin

# Maxim DS18B20 data sheet, table 1, but for +85 degC, which means that there is none.
DS18B20_WORDS = (0x07D0, 0x0191, 0x00A2, 0x0008, 0x0000, 0xFFF8, 0xFF5E, 0xFE6F, 0xFC90)
# Maxim application note 27: the ROM code 02 1C B8 01 00 00 00 has the check sum A2.
AN27_ROM = b"\x02\x1c\xb8\x01\x00\x00\x00\xa2"


class Wire:
    """A bus of DS18B20; a pin between, on which bits can be made wrong."""

    def __init__(self, *words):
        self.clock = Clock(0)
        self.pin = OneWirePin(self.clock)
        self.rows = Rows(*words)
        self.roms = []
        self.slaves = []
        for number in range(len(words)):
            rom = rom_code(number)
            slave = Ds18b20Device(self.clock, self.rows, number, rom)
            self.pin.attach(slave)
            self.roms.append(rom)
            self.slaves.append(slave)
        self.flip_at = -1  # read slot whose bit is turned
        self.held_low = False
        self.bus = OneWire(self)
        self.conversion = Conversion(self.bus, self.clock.tick)
        self.chips = [DS18B20(self.bus, rom, self.conversion) for rom in self.roms]

    def reset(self):
        return self.pin.reset() or self.held_low

    def write_bit(self, bit):
        self.pin.write_bit(bit)

    def read_bit(self):
        bit = self.pin.read_bit()
        self.flip_at -= 1
        if self.flip_at == -1:
            bit ^= 1
        return 0 if self.held_low else bit

    def read_all(self):
        wait(self.clock, self.chips[0].start())
        return [chip.counts() for chip in self.chips]


def rom_code(number):
    """A ROM code of family 28; neighbours differ in one bit, some early and some late."""
    serial = bytearray(b"\x28\x00\x00\x00\x00\x00\x00")
    serial[1 + number % 6] = 1 << number % 8
    return bytes(serial) + bytes((crc8(serial),))


def check_the_check_sum_is_the_catalogues():
    # Catalogue of parametrised CRC algorithms, CRC-8/MAXIM-DOW: check value over "123456789"; application
    # note 27.
    expect(crc8(b"123456789"), 0xA1)
    expect(crc8(AN27_ROM[:7]), 0xA2)
    expect(crc8(AN27_ROM), 0)
    expect(crc8(b""), 0)


def check_the_search_finds_every_thermometer():
    for count in (1, 2, 3, 7):
        wire = Wire(*range(count))
        expect(sorted(wire.bus.search()), sorted(wire.roms))


def check_the_search_finds_the_rom_code_of_application_note_27():
    clock = Clock(0)
    pin = OneWirePin(clock)
    pin.attach(Ds18b20Device(clock, Rows(0), 0, AN27_ROM))
    expect(list(OneWire(pin).search()), [AN27_ROM])


def check_an_empty_bus_and_one_that_is_held_low_are_errors():
    wire = Wire()
    expect_error(19, list, wire.bus.search())
    expect_error(19, wire.conversion.start)
    wire = Wire(400)
    expect(wire.read_all(), [400 ^ 0x8000])
    wire.held_low = True
    expect_error(5, next, wire.bus.search())  # a ROM code of zeros, whose check sum is right
    expect_error(5, wire.chips[0].counts)  # nine zeros, whose check sum is right


def check_a_search_with_a_wrong_bit_is_an_error():
    for slot in (0, 1, 2, 60, 127):
        wire = Wire(0, 0)
        wire.flip_at = slot
        try:
            found = list(wire.bus.search())
        except OSError as error:
            expect(error.args[0], 5)
            continue
        # A flip that the search cannot tell from a branch leads past a device, but to none that is not there.
        expect([rom for rom in found if rom not in wire.roms], [])


def check_the_ds18b20_reads_the_words_of_the_data_sheets_table():
    for word in DS18B20_WORDS:
        wire = Wire(word)
        expect(wire.read_all(), [word ^ 0x8000])


def check_several_thermometers_convert_at_once_and_are_told_apart():
    wire = Wire(*DS18B20_WORDS)
    before = wire.clock.world_ms()
    expect(wire.read_all(), [word ^ 0x8000 for word in DS18B20_WORDS])
    if not 751 <= wire.clock.world_ms() - before < 751 + 9 * 13:
        raise AssertionError(wire.clock.world_ms() - before)


def check_85_degrees_after_power_on_is_no_reading():
    wire = Wire(400, 401)
    wire.read_all()
    wire.chips[0].start()
    wait(wire.clock, 300)
    wire.slaves[1].power_on()  # its supply was away for a moment: the conversion is lost
    wait(wire.clock, 500)
    expect(wire.chips[0].counts(), 400 ^ 0x8000)
    expect_error(5, wire.chips[1].counts)
    expect(wire.read_all(), [400 ^ 0x8000, 401 ^ 0x8000])
    for word in (0x054F, 0x0551):  # its neighbours are readings
        expect(Wire(word).read_all(), [word ^ 0x8000])


def check_a_conversion_that_runs_is_joined_and_not_begun_anew():
    wire = Wire(400, 401)
    due = wire.chips[0].start()
    wait(wire.clock, 300)
    rest = wire.chips[1].start()
    if not due - 310 < rest <= due - 300:
        raise AssertionError(rest)
    wait(wire.clock, rest)
    expect([chip.counts() for chip in wire.chips], [400 ^ 0x8000, 401 ^ 0x8000])
    expect(wire.chips[0].start(), due)  # it is over: the next one begins


def check_the_bus_says_when_the_conversion_is_over():
    # Data sheet, "Convert T": 0 in read slots while it converts, then 1.
    wire = Wire(400, 401)
    wire.chips[0].start()
    wait(wire.clock, 700)
    expect(wire.pin.read_bit(), 0)
    wait(wire.clock, 51)
    expect(wire.pin.read_bit(), 1)


def check_a_wrong_bit_in_a_reading_is_found():
    wire = Wire(400)
    wire.read_all()
    for slot in range(72):
        wire.flip_at = slot
        expect_error(5, wire.chips[0].counts)
    expect(wire.chips[0].counts(), 400 ^ 0x8000)


def check_a_thermometer_that_is_not_on_the_bus_is_an_error_and_the_others_are_read():
    wire = Wire(400, 401)
    stranger = DS18B20(wire.bus, rom_code(5), wire.conversion)
    expect(wire.read_all(), [400 ^ 0x8000, 401 ^ 0x8000])
    expect_error(5, stranger.counts)
    expect(wire.chips[1].counts(), 401 ^ 0x8000)


def check_fewer_bits_leave_no_noise():
    # Data sheet, table 2: at 9, 10, 11 and 12 bits the last 3, 2, 1 and 0 bits are undefined.
    for resolution in range(4):
        wire = Wire(0x0197)
        wire.bus.select(wire.roms[0])
        for byte in (0x4E, 75, 70, resolution << 5):
            wire.bus.write(byte)
        wait(wire.clock, wire.chips[0].start())
        unused = (1 << 3 - resolution) - 1
        wire.pin.reset()  # the result stands in the scratchpad now
        wire.slaves[0]._scratchpad[0] |= unused
        expect(wire.chips[0].counts(), (0x0197 & ~unused) ^ 0x8000)


CHECKS = checks_of(globals())
