"""Parity on the board: written at its places, right whatever happened to the members."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from onboard.firmware.store import BlockStore
from protocol.block import (
    BLOCK_FLIGHT, BLOCK_LIMIT, BLOCK_SIZE, FLAG_PARITY, MEMBER_FIRST, PARITY_FIRST, is_parity_place, is_whole,
    parity_member,
)
from protocol.record import Layout

FLIGHT = b"\x5f\x3a\x1c\x22"


class Region:
    """Sectors in memory, with what the store asks of a LogRegion."""

    def __init__(self, sectors=()):
        self.sectors = [bytes(sector) for sector in sectors]

    def room(self):
        return 10_000 - len(self.sectors)

    @property
    def next(self):
        return len(self.sectors)

    def prepare(self):
        return self.next

    def whole_block(self, place, offset, flight):
        sector = self.sectors[place]
        return sector if sector[offset : offset + 4] == flight and is_whole(sector) else None

    def write(self, buffer):
        self.sectors.append(bytes(buffer))


class Board:
    def ticks_ms(self):
        return 0


def store_on(region, boot=1, depth=4, rate=3):
    store = BlockStore(region, FLIGHT, boot, Board(), depth, rate)
    store.events = None
    return store


def fill(store, blocks, salt=0):
    layout = Layout("event")
    for number in range(blocks):
        layout.values[:] = [1, 2, number * 7919 + salt]
        for _ in range(5):
            store.emit(layout, 1000 * number)
        store.close_now()
        while store.waiting:
            store.write_one(0)


def exclusive_or(sectors):
    total = bytes(BLOCK_SIZE - MEMBER_FIRST)
    for sector in sectors:
        total = bytes(a ^ b for a, b in zip(total, sector[MEMBER_FIRST:], strict=True))
    return total


def parity_places(count, depth, rate):
    return [place for place in range(count) if is_parity_place(place, depth, rate)]


@settings(max_examples=25, deadline=None)
@given(st.integers(1, 16), st.integers(1, 12), st.integers(1, 120))
def test_parity_stands_at_its_places_and_covers_its_members(depth, rate, blocks):
    region = Region()
    fill(store_on(region, depth=depth, rate=rate), blocks)
    assert all(is_whole(bytearray(sector)) for sector in region.sectors)
    for place, sector in enumerate(region.sectors):
        assert bool(sector[5] & FLAG_PARITY) == is_parity_place(place, depth, rate)
    for place in parity_places(len(region.sectors), depth, rate):
        members = [region.sectors[parity_member(place, depth, rate, k)] for k in range(rate)]
        assert region.sectors[place][PARITY_FIRST:BLOCK_LIMIT] == exclusive_or(members)
        assert region.sectors[place][5] >> 1 == rate


@given(st.integers(1, 20), st.integers(1, 20), st.integers(0, 5000))
def test_any_run_of_depth_sectors_hits_each_group_once(depth, rate, start):
    groups = []
    stripe = depth * (rate + 1)
    for place in range(start, start + depth):
        groups.append((place // stripe, place % stripe % depth))
    assert len(set(groups)) == depth


def test_the_places_of_a_group_are_all_places_of_its_stripe():
    depth, rate = 4, 3
    for stripe in range(3):
        first = stripe * depth * (rate + 1)
        covered = [
            parity_member(place, depth, rate, k)
            for place in range(first + depth * rate, first + depth * (rate + 1))
            for k in range(rate)
        ]
        assert sorted(covered) == list(range(first, first + depth * rate))


def test_a_reset_in_a_stripe_changes_nothing():
    region = Region()
    fill(store_on(region, boot=1), 5)
    region.sectors.append(region.sectors[-1][:100] + bytes(412))  # torn by the power cut
    fill(store_on(region, boot=2), 30, salt=1)
    for place in parity_places(len(region.sectors), 4, 3):
        members = [region.sectors[parity_member(place, 4, 3, k)] for k in range(3)]
        whole = [sector for sector in members if is_whole(bytearray(sector))]
        assert region.sectors[place][PARITY_FIRST:BLOCK_LIMIT] == exclusive_or(whole)
        assert region.sectors[place][5] >> 1 == len(whole)


def test_a_reset_between_two_parity_blocks_changes_nothing():
    for blocks in range(12, 17):
        region = Region()
        fill(store_on(region, boot=1), blocks)
        fill(store_on(region, boot=2), 20, salt=1)
        kinds = [bool(sector[5] & FLAG_PARITY) for sector in region.sectors]
        assert kinds == [is_parity_place(place, 4, 3) for place in range(len(kinds))]


def test_parity_is_written_while_no_block_waits():
    # A block that had to wait for a whole row of parity would reach the card a second late.
    region = Region()
    store = store_on(region)
    fill(store, 12)
    assert len(region.sectors) == 12 and store.waiting == 0
    for _ in range(100):
        store.write_one(0)
    kinds = [bool(sector[5] & FLAG_PARITY) for sector in region.sectors]
    assert kinds == [False] * 12 + [True] * 4  # and nothing behind it: there is nothing to say


def test_sectors_of_another_flight_count_as_zeros():
    region = Region()
    other = BlockStore(region, b"old!", 1, Board())
    fill(other, 3)
    fill(store_on(region), 20)
    place = parity_places(len(region.sectors), 4, 3)[0]
    members = [region.sectors[parity_member(place, 4, 3, k)] for k in range(3)]
    ours = [sector for sector in members if sector[BLOCK_FLIGHT : BLOCK_FLIGHT + 4] == FLIGHT]
    assert len(ours) == 2
    assert region.sectors[place][PARITY_FIRST:BLOCK_LIMIT] == exclusive_or(ours)


def test_without_parity_every_sector_holds_records():
    region = Region()
    fill(store_on(region, depth=0, rate=0), 40)
    assert not any(sector[5] for sector in region.sectors)


@pytest.mark.parametrize("name", ["number", "place", "flight", "depth"])
def test_header_offsets_that_the_board_uses_are_those_of_the_header(name):
    from struct import calcsize

    from protocol.block import BLOCK_FIRST, BLOCK_HEADER, BLOCK_HEADER_FIELDS, PARITY_HEADER

    assert calcsize(BLOCK_HEADER) == BLOCK_FIRST
    assert calcsize(PARITY_HEADER) == PARITY_FIRST
    assert BLOCK_HEADER.startswith(PARITY_HEADER)
    assert name in BLOCK_HEADER_FIELDS
    codes = ["4s", "B", "B", "B", "B", "4s", "I", "I", "H", "I", "H", "B"]
    offsets = dict(zip(BLOCK_HEADER_FIELDS, (calcsize("<" + "".join(codes[:i])) for i in range(12)), strict=True))
    assert offsets["flight"] == BLOCK_FLIGHT and offsets["flags"] == 5
    assert offsets["boot"] == MEMBER_FIRST and offsets["number"] == PARITY_FIRST
    assert BLOCK_SIZE - MEMBER_FIRST == BLOCK_LIMIT - PARITY_FIRST
