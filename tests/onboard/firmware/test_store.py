"""Blocks in memory and on the card: written once, closed in time, and honest about what was lost."""

from struct import unpack_from

import pytest

from onboard.firmware.store import CLOSE_AGE_MS, QUEUE_BLOCKS, RETRY_MS, TRIES, BlockStore
from protocol.block import BLOCK_FIRST, BLOCK_HEADER, BLOCK_HEADER_FIELDS, BLOCK_SIZE, is_whole
from protocol.record import Layout
from protocol.table import DEVICES, event_code

FLIGHT = b"\x5f\x3a\x1c\x22"


class Region:
    """Keeps what is written; refuses while `broken`, is full after `size` blocks."""

    def __init__(self, size=1000):
        self.blocks = []
        self.skipped = 0
        self.size = size
        self.broken = False
        self.write_ms = 0
        self.board = None

    def room(self):
        return self.size - len(self.blocks)

    @property
    def next(self):
        return len(self.blocks) + self.skipped

    def prepare(self):
        return self.next

    def skip(self):
        self.skipped += 1

    def write(self, buffer):
        self.board.now += self.write_ms
        if self.broken:
            raise OSError(5)
        self.blocks.append(bytes(buffer))


class Board:
    def __init__(self):
        self.now = 0

    def ticks_ms(self):
        return self.now


class Events:
    def __init__(self):
        self.noted = []

    def note(self, code, subject, detail):
        self.noted.append((code, subject, detail))


@pytest.fixture
def parts():
    board, region = Board(), Region()
    region.board = board
    store = BlockStore(region, FLIGHT, 3, board)
    store.events = Events()
    return store, region, board


def record(number):
    layout = Layout("event")
    layout.values[:] = [1, 2, number]
    return layout


def numbers(region):
    return [field(block, "number") for block in region.blocks]


def field(block, name):
    return unpack_from(BLOCK_HEADER, block, 0)[BLOCK_HEADER_FIELDS.index(name)]


def details(region):
    """The numbers of all event records on the card, read by their fixed size."""
    found = []
    for block in region.blocks:
        for offset in range(BLOCK_FIRST, BLOCK_FIRST + field(block, "used"), 9):
            found.append(int.from_bytes(block[offset + 5 : offset + 9], "little"))
    return found


def test_every_record_reaches_the_card_once_and_in_order(parts):
    store, region, board = parts
    for number in range(500):
        store.emit(record(number), number * 10)
        store.write_one(number * 10)
    store.close_now()
    store.write_one(5000)
    assert details(region) == list(range(500))
    assert numbers(region) == list(range(len(region.blocks)))
    assert all(is_whole(bytearray(block)) and len(block) == BLOCK_SIZE for block in region.blocks)


def test_a_block_is_closed_when_it_is_old_although_not_full(parts):
    store, region, board = parts
    store.emit(record(1), 1000)
    store.close_if_old(1000 + CLOSE_AGE_MS - 1)
    assert store.waiting == 0
    store.close_if_old(1000 + CLOSE_AGE_MS)
    assert store.waiting == 1
    assert CLOSE_AGE_MS < 2000


def test_the_age_of_a_block_counts_from_its_oldest_record(parts):
    store, _, _ = parts
    store.emit(record(1), 1000)
    store.emit_late(record(2), 600)  # a fix: it is logged when the receiver has told all of it
    store.emit_late(record(3), 800)
    store.close_if_old(600 + CLOSE_AGE_MS - 1)
    assert store.waiting == 0
    store.close_if_old(600 + CLOSE_AGE_MS)
    assert store.waiting == 1
    store.emit(record(4), 3000)  # the next block has an age of its own
    store.close_if_old(3000 + CLOSE_AGE_MS - 1)
    assert store.waiting == 1


def test_a_refused_block_waits_and_is_written_later(parts):
    store, region, board = parts
    region.broken = True
    for number in range(60):
        store.emit(record(number), number)
    store.write_one(100)
    assert store.card_errors == 1 and store.waiting == 1 and not region.blocks
    assert store.events.noted == [(event_code("device failed"), DEVICES.index("card"), 5)]
    region.broken = False
    store.write_one(100 + RETRY_MS - 1)
    assert not region.blocks
    store.write_one(100 + RETRY_MS)
    assert numbers(region) == [0]
    assert store.events.noted[-1] == (event_code("device returned"), DEVICES.index("card"), 1)


def test_a_long_outage_loses_blocks_says_how_many_and_numbers_stay_whole(parts):
    store, region, board = parts
    region.broken = True
    total = 0
    while store.lost < 4:
        store.emit(record(total), total)
        store.write_one(total)
        total += 1
    region.broken = False
    for step in range(QUEUE_BLOCKS):
        store.write_one(total + 1000 * step + RETRY_MS)
    assert (event_code("blocks lost"), DEVICES.index("card"), 4) in store.events.noted
    assert numbers(region) == list(range(QUEUE_BLOCKS - 1))
    kept = details(region)
    assert kept == list(range(len(kept)))  # the oldest are kept whole, none is mixed up


def test_a_full_card_stops_the_writing_and_nothing_else(parts):
    store, region, board = parts
    region.size = 16
    for number in range(1000):
        store.emit(record(number), number)
        store.write_one(number)
    assert len(region.blocks) == 16
    assert store.events.noted[0][:2] == (event_code("card full"), DEVICES.index("card"))
    assert len([event for event in store.events.noted if event[0] == event_code("card full")]) == 1


def test_the_card_says_that_it_is_full_while_there_is_room_to_say_it(parts):
    store, region, board = parts
    region.size = 16
    full_at = None
    for number in range(1000):
        store.emit(record(number), number)
        store.write_one(number)
        if store.events.noted and full_at is None:
            full_at = len(region.blocks)
    assert full_at < 16


def test_a_sector_that_refuses_is_left_out_after_three_tries(parts):
    store, region, board = parts
    region.broken = True
    store.emit(record(1), 0)
    store.close_now()
    for attempt in range(TRIES):
        assert region.skipped == 0
        store.write_one(attempt * RETRY_MS)
    assert region.skipped == 1


def test_write_times_are_those_of_the_card(parts):
    store, region, board = parts
    for milliseconds in (4, 90, 6):
        region.write_ms = milliseconds
        store.emit(record(1), board.now)
        store.close_now()
        store.write_one(board.now)
    assert (store.write_time_last, store.write_time_slowest) == (6, 90)


def test_without_a_card_the_logger_goes_on():
    board = Board()
    store = BlockStore(None, FLIGHT, 1, board)
    store.events = Events()
    for number in range(1000):
        store.emit(record(number), number)
        store.write_one(number)
    assert store.lost > 0


def test_a_sample_long_before_the_block_began_opens_a_new_one(parts):
    store, region, board = parts
    store.emit(record(1), 100_000)
    store.emit(record(2), 60_000)  # 40 s earlier: does not fit a 16-bit difference
    assert store.waiting == 1
