"""What is lost follows from numbers and places together: parity, refused sectors and resets lie between."""

import pytest
from built_images import FLIGHT, OTHER_FLIGHT, losses, recover_bytes, recovered_keys, written_log
from parity_logs import Flight

from ground.recover.neighbours import data_index, place_of
from protocol.block import is_parity_place

WIPED = "wiped: its place holds zeros or ones"
TORN = "torn last write"


def wiped(image, places):
    for place in places:
        image[512 * place:512 * place + 512] = bytes(512)
    return bytes(image)


@pytest.mark.parametrize(("depth", "rate"), [(16, 10), (4, 3), (1, 1), (255, 255), (0, 0)])
def test_data_places_are_counted_past_the_parity(depth, rate):
    # Against the protocol's own rule, place by place.
    count = 0
    for place in range(2000):
        assert data_index(place, depth, rate) == count
        if not is_parity_place(place, depth, rate):
            assert place_of(count, depth, rate) == place
            count += 1


def test_a_loss_on_both_sides_of_parity_is_one_loss_of_its_blocks_alone(tmp_path):
    flight = Flight(depth=4, rate=3, sectors=60).boot(30, short=True)
    # Ten in a row: two data sectors, the parity, four data sectors; and the parity that would give these.
    recovered = recover_bytes(tmp_path, wiped(flight.image, [*range(10, 20), *range(28, 32)]))
    blocks = flight.blocks()
    assert losses(recovered) == [(1, blocks[10]["number"], blocks[19]["number"], WIPED)]
    assert blocks[19]["number"] - blocks[10]["number"] + 1 == 6
    assert recovered.boots[0].envelopes_expected == len(blocks)


@pytest.mark.parametrize("kept", [40, 300])
def test_a_block_torn_by_a_reset_is_a_loss_of_the_boot_before(tmp_path, kept):
    flight = Flight(depth=4, rate=3, sectors=60)
    flight.boot(20, short=True)
    number = max(header["number"] for header in flight.blocks().values())
    flight.tear(kept)
    flight.boot(20, short=True)
    recovered = recover_bytes(tmp_path, bytes(flight.image))
    assert losses(recovered) == [(1, number, number, TORN)]
    assert [log.envelopes_expected - log.envelopes_found for log in recovered.boots] == [1, 0]


def test_blocks_wiped_around_a_reset_are_lost_by_both_boots(tmp_path):
    flight = Flight(depth=0, rate=0, sectors=60).boot(12, short=True).boot(12, short=True)
    first = [place for place, header in flight.blocks().items() if header["boot"] == 1]
    begin = len(first)
    recovered = recover_bytes(tmp_path, wiped(flight.image, range(begin - 3, begin + 2)))
    assert losses(recovered) == [(1, begin - 3, begin - 1, WIPED), (2, 0, 1, "not found")]
    assert [log.envelopes_expected for log in recovered.boots] == [begin, len(flight.blocks()) - begin]


def test_a_boot_of_which_nothing_is_left_counts_for_the_one_before(tmp_path):
    flight = Flight(depth=0, rate=0, sectors=80)
    for _ in range(3):
        flight.boot(12, short=True)
    gone = [place for place, header in flight.blocks().items() if header["boot"] == 2]
    recovered = recover_bytes(tmp_path, wiped(flight.image, gone))
    assert [log.boot for log in recovered.boots] == [1, 3]
    first = recovered.boots[0]
    assert first.envelopes_expected - first.envelopes_found == len(gone)


def test_places_that_begin_anew_with_every_boot_give_no_loss(tmp_path):
    boots = [written_log(boot=boot, rounds=10) for boot in (1, 2, 3)]
    recovered = recover_bytes(tmp_path, b"".join(b for log in boots for b in log.envelopes))
    assert losses(recovered) == []


def test_a_sector_of_another_flight_between_two_boots_is_no_loss(tmp_path):
    flight = Flight(depth=0, rate=0, sectors=80).boot(12, short=True)
    end = max(flight.blocks()) + 1
    for place, block in enumerate(written_log(flight=OTHER_FLIGHT, rounds=3).envelopes[:2], end):
        flight.card.sectors[place] = block
    flight.boot(12, short=True)
    assert not {end, end + 1} & set(flight.blocks())
    recovered = recover_bytes(tmp_path, bytes(flight.image))
    assert [loss for loss in recovered.ledger.losses if loss.flight == FLIGHT.hex()] == []


def test_a_refused_sector_beside_a_lost_one_is_told_from_it(tmp_path):
    flight = Flight(depth=0, rate=0, sectors=60)
    flight.card.refused = {10}
    flight.boot(20, short=True)
    image = flight.image
    image[512 * 11:512 * 12] = b"\x55" * 512
    recovered = recover_bytes(tmp_path, bytes(image))
    number = flight.blocks()[11]["number"]
    # Two sectors, one number: the one that holds something else is the better explanation.
    assert losses(recovered) == [(1, number, number, "overwritten: its place holds something else")]


def test_parity_is_never_read_as_records(tmp_path):
    flight = Flight(depth=16, rate=1, sectors=80).boot(40, short=True)
    recovered = recover_bytes(tmp_path, bytes(flight.image))
    [log] = recovered.boots
    assert len(flight.parity_places()) == 32
    counted = {(1, *key): count for key, count in recovered_keys(log, FLIGHT).items()}
    assert counted == dict(flight.keys())
    assert log.unreadable_records == 0 and log.envelopes_found == len(flight.blocks())
