"""The exclusive or of an odd number of whole blocks has a right CRC-32: it must never pass for a block."""

from itertools import combinations

import pytest

from ground.recover import recover_source
from onboard.firmware.store import BlockStore
from protocol.block import BLOCK_SIZE, is_whole
from protocol.record import Layout

FLIGHT = b"\x5f\x3a\x1c\x22"
RATE = 10


class Region:
    """The log's sectors in memory."""

    def __init__(self):
        self.sectors = []

    def room(self):
        return 1000 - len(self.sectors)

    def prepare(self):
        return len(self.sectors)

    def whole_block(self, place, offset, flight):
        sector = self.sectors[place]
        return sector if is_whole(sector) else None

    def write(self, buffer):
        self.sectors.append(bytes(buffer))


class Board:
    def ticks_ms(self):
        return 0


@pytest.fixture(scope="module")
def sectors():
    region = Region()
    store = BlockStore(region, FLIGHT, 1, Board(), 1, RATE)
    layout = Layout("event")
    for number in range(RATE * 3):
        for k in range(5):
            layout.values[:] = [1, 2, number * 100 + k]
            store.emit(layout, 1000 * number + k)
        store.close_now()
        while store.waiting:
            store.write_one(0)
    return region.sectors


def test_an_odd_number_of_lost_members_never_passes_for_one(sectors, tmp_path):
    # All sets of five members of the first stripe, those whose places and numbers cancel among them.
    card = tmp_path / "card.img"
    cancelling = 0
    for lost in combinations(range(RATE), 5):
        four = [lost[:i] + lost[i + 1 :] for i in range(5)]
        if not any(a ^ b ^ c ^ d == 0 for a, b, c, d in four):
            continue
        cancelling += 1
        image = list(sectors)
        for place in lost:
            image[place] = bytes(BLOCK_SIZE)
        card.write_bytes(b"".join(image))
        (boot,) = recover_source(card).boots
        details = boot.records["event"].values["detail"].tolist()
        expected = [n * 100 + k for n in range(RATE * 3) if n not in lost for k in range(5)]
        assert details == expected
    assert cancelling > 20


def test_one_lost_member_comes_back(sectors, tmp_path):
    card = tmp_path / "card.img"
    for lost in range(RATE):
        image = list(sectors)
        image[lost] = bytes(BLOCK_SIZE)
        card.write_bytes(b"".join(image))
        (boot,) = recover_source(card).boots
        assert len(boot.records["event"].tick_ms) == RATE * 3 * 5
