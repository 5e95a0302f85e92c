# Checks of the SD card driver on the virtual card, for CPython and both MicroPython interpreters.

import sys

from onboard.firmware.sdcard import SDCard
from onboard.simulator.board.clock import Clock
from onboard.simulator.board.sd_bus import SDBus, SelectPin
from onboard.simulator.board.sd_device import SDDevice

BLOCKS = 32768
HELD = 4  # the memory remembers this many blocks, by their number's last bits
GONE, STUCK, REFUSED = 19, 110, 5


class Memory:
    def __init__(self):
        self.held = [bytearray(512) for _ in range(HELD)]
        self.last = -1
        self.fails = False

    def readblocks(self, number, buffer):
        if self.fails:
            raise OSError(5)
        held = self.held[number % HELD]
        for i in range(512):
            buffer[i] = held[i]

    def writeblocks(self, number, buffer):
        if self.fails:
            raise OSError(5)
        self.last = number
        held = self.held[number % HELD]
        for i in range(512):
            held[i] = buffer[i]

    def ioctl(self, operation, _):
        return BLOCKS


class Bench:
    def __init__(self, is_large=True):
        self.clock = Clock(0)
        self.memory = Memory()
        self.device = SDDevice(self.clock, self.memory, is_large=is_large)
        self.card = self.driver()

    def driver(self):
        return SDCard(SDBus(self.clock, self.device), SelectPin(self.device), self.ticks_ms)

    def ticks_ms(self):
        self.clock.spend_us(5)
        return self.clock.tick()


def pattern(number):
    return bytearray([(i * 7 + number * 13) & 0xFF for i in range(512)])


def error_of(action, *arguments):
    try:
        action(*arguments)
    except OSError as error:
        return error.args[0]
    return None


def size_and_a_block(is_large):
    bench = Bench(is_large)
    card = bench.card
    assert card.ioctl(1, 0) == 0
    assert card.ioctl(4, 0) == BLOCKS
    assert card.ioctl(5, 0) == 512
    card.writeblocks(30001, pattern(1))
    assert bench.memory.last == 30001
    card.writeblocks(30002, pattern(2))
    buffer = bytearray(512)
    card.readblocks(30001, buffer)
    assert buffer == pattern(1)


def a_card_of_today_gives_its_size_and_takes_a_block():
    size_and_a_block(True)


def a_card_of_version_1_is_addressed_by_bytes():
    size_and_a_block(False)


def several_blocks_at_once_come_and_go_in_order():
    bench = Bench()
    bench.card.writeblocks(8, pattern(8) + pattern(9) + pattern(10))
    assert bench.memory.last == 10
    buffer = bytearray(1024)
    bench.card.readblocks(9, buffer)
    assert buffer == pattern(9) + pattern(10)


def a_place_beyond_the_card_is_refused_and_the_next_call_works():
    bench = Bench()
    bench.card.ioctl(1, 0)
    assert error_of(bench.card.readblocks, BLOCKS, bytearray(512)) == REFUSED
    assert error_of(bench.card.writeblocks, BLOCKS, bytearray(512)) == REFUSED
    assert error_of(bench.card.writeblocks, BLOCKS - 1, bytearray(512)) is None


def what_the_card_reports_as_failed_raises():
    bench = Bench()
    bench.card.ioctl(1, 0)
    bench.memory.fails = True
    assert error_of(bench.card.readblocks, 1, bytearray(512)) == REFUSED
    assert error_of(bench.card.writeblocks, 1, pattern(1)) == REFUSED
    bench.memory.fails = False
    bench.card.writeblocks(1, pattern(3))
    assert bench.memory.held[1] == pattern(3)


def a_block_that_is_lost_while_the_card_programs_it_raises():
    bench = Bench()
    bench.card.ioctl(1, 0)
    bench.device.fails_late = True
    assert error_of(bench.card.writeblocks, 1, pattern(1)) == REFUSED
    bench.device.fails_late = False
    assert error_of(bench.card.writeblocks, 1, pattern(1)) is None


def a_write_waits_while_the_card_programs_and_no_longer():
    bench = Bench()
    bench.card.ioctl(1, 0)
    bench.device.busy_ms = 300
    before = bench.clock.tick()
    bench.card.writeblocks(1, pattern(1))
    assert 300 <= bench.clock.tick() - before < 310
    bench.device.busy_ms = 100000
    before = bench.clock.tick()
    assert error_of(bench.card.writeblocks, 2, pattern(1)) == STUCK
    assert 500 <= bench.clock.tick() - before < 510


def an_empty_socket_is_told_at_once():
    bench = Bench()
    bench.device.pull()
    before = bench.clock.tick()
    assert error_of(bench.card.ioctl, 1, 0) == GONE
    assert error_of(bench.card.readblocks, 0, bytearray(512)) == GONE
    assert bench.clock.tick() - before < 10


def a_card_that_comes_back_is_started_again_without_a_long_wait():
    bench = Bench()
    bench.card.writeblocks(1, pattern(1))
    bench.device.pull()
    assert error_of(bench.card.writeblocks, 2, pattern(2)) == GONE
    bench.device.insert()
    waits = 0
    while True:
        before = bench.clock.tick()
        error = error_of(bench.card.writeblocks, 2, pattern(2))
        assert bench.clock.tick() - before < 60  # sampling goes on
        if error is None:
            break
        assert error == STUCK
        waits += 1
        assert waits < 10
    assert waits > 0
    assert bench.memory.held[2] == pattern(2)


def another_card_in_the_socket_is_not_written_to():
    bench = Bench()
    bench.card.ioctl(1, 0)
    other = Bench()
    bench.device.pull()
    assert error_of(bench.card.readblocks, 0, bytearray(512)) == GONE
    stranger = SDDevice(bench.clock, other.memory, identity=2)
    bench.card._spi._device = stranger
    bench.card._cs = SelectPin(stranger)
    for _ in range(6):
        assert error_of(bench.card.writeblocks, 3, pattern(3)) in (GONE, STUCK)
    assert other.memory.last == -1


def a_card_that_lost_its_supply_for_a_moment_is_started_again():
    bench = Bench()
    bench.card.ioctl(1, 0)
    bench.device.insert()  # as new, and the driver does not know
    assert error_of(bench.card.writeblocks, 1, pattern(1)) in (GONE, STUCK)
    for _ in range(6):
        if error_of(bench.card.writeblocks, 1, pattern(1)) is None:
            break
    assert bench.memory.held[1] == pattern(1)


def a_block_is_read_and_written_without_allocation():
    try:
        import micropython
    except ImportError:
        return
    bench = Bench()
    bench.card.ioctl(1, 0)
    buffer = pattern(5)
    micropython.heap_lock()
    try:
        bench.card.writeblocks(1, buffer)
        bench.card.readblocks(2, buffer)
        bench.card.writeblocks(3, buffer)
    finally:
        micropython.heap_unlock()
    assert bench.memory.held[1] == pattern(5)


def a_dead_card_does_not_eat_the_heap():
    if sys.implementation.name != "micropython" or not sys.maxsize >> 31:
        return  # CPython clears what an exception keeps; on 32 bits the collector misses locals of a running function
    import gc

    bench = Bench()
    bench.card.ioctl(1, 0)
    bench.device.pull()
    buffer = bytearray(512)
    used = []
    for _ in range(3):
        for _ in range(50):
            assert error_of(bench.card.writeblocks, 1, buffer) is not None
        gc.collect()
        used.append(gc.mem_alloc())
    assert used[2] <= used[1] + 64, used


CHECKS = {
    check.__name__: check
    for check in (
        a_card_of_today_gives_its_size_and_takes_a_block,
        a_card_of_version_1_is_addressed_by_bytes,
        several_blocks_at_once_come_and_go_in_order,
        a_place_beyond_the_card_is_refused_and_the_next_call_works,
        what_the_card_reports_as_failed_raises,
        a_block_that_is_lost_while_the_card_programs_it_raises,
        a_write_waits_while_the_card_programs_and_no_longer,
        an_empty_socket_is_told_at_once,
        a_card_that_comes_back_is_started_again_without_a_long_wait,
        another_card_in_the_socket_is_not_written_to,
        a_card_that_lost_its_supply_for_a_moment_is_started_again,
        a_block_is_read_and_written_without_allocation,
        a_dead_card_does_not_eat_the_heap,
    )
}
