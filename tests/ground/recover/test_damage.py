import random

import pytest
from built_images import FLIGHT, losses, recover_bytes, recovered_keys, states, written_log

WIPED = "wiped: its place holds zeros or ones"
OVERWRITTEN = "overwritten: its place holds something else"


@pytest.fixture(scope="module")
def log():
    return written_log(rounds=40)


def ruin(data, block, byte):
    """Three wrong bits, far apart: damage that no repair explains."""
    for at, bit in ((byte, 4), ((byte + 171) % 512, 0), ((byte + 342) % 512, 7)):
        data[512 * block + at] ^= 1 << bit


def damaged_log(log, verb):
    data = bytearray(b"".join(log.envelopes))
    verb(data)
    return bytes(data)


@pytest.mark.parametrize("byte", [0, 3, 4, 5, 6, 9, 12, 16, 20, 22, 24, 300, 507, 508, 511])
def test_scattered_bits_cost_their_own_block_only(tmp_path, log, byte):
    def flip(data):
        ruin(data, 6, byte)

    recovered = recover_bytes(tmp_path, damaged_log(log, flip))
    [boot] = recovered.boots
    assert recovered_keys(boot, FLIGHT) == log.keys(but={6})
    count = len(log.envelopes)
    assert (boot.envelopes_found, boot.envelopes_expected) == (count - 1, count)
    assert losses(recovered) == [(1, 6, 6, "damaged")]
    assert states(recovered) == [("block", 6 * 512), ("block_damaged", 512), ("block", (count - 7) * 512)]
    [loss] = recovered.ledger.losses
    assert loss.tick_before_ms < loss.tick_after_ms
    assert loss.envelope == "block"


def test_damage_in_the_first_block_is_damage_too(tmp_path, log):
    def flip(data):
        ruin(data, 0, 0)

    recovered = recover_bytes(tmp_path, damaged_log(log, flip))
    assert losses(recovered) == [(1, 0, 0, "damaged")]
    assert recovered.ledger.losses[0].tick_before_ms is None
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys(but={0})


@pytest.mark.parametrize(("fill", "state", "reason"), [
    (b"\0", "unwritten_zeros", WIPED), (b"\xff", "unwritten_ones", WIPED), (b"\x55", "other", OVERWRITTEN),
])
def test_wiped_sectors_are_told_by_what_stands_there(tmp_path, log, fill, state, reason):
    def wipe(data):
        data[512 * 4:512 * 7] = fill * 512 * 3

    recovered = recover_bytes(tmp_path, damaged_log(log, wipe))
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys(but={4, 5, 6})
    assert states(recovered)[1] == (state, 3 * 512)
    assert losses(recovered) == [(1, 4, 6, reason)]


def test_neighbouring_losses_of_different_reasons_stay_apart(tmp_path, log):
    def hurt(data):
        ruin(data, 4, 100)
        data[512 * 5:512 * 6] = bytes(512)
        data[512 * 6:512 * 7] = random.Random(3).randbytes(512)

    recovered = recover_bytes(tmp_path, damaged_log(log, hurt))
    assert losses(recovered) == [(1, 4, 4, "damaged"), (1, 5, 5, WIPED), (1, 6, 6, OVERWRITTEN)]
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys(but={4, 5, 6})


@pytest.mark.parametrize("kept", [30, 256, 480])
def test_a_torn_last_write_is_expected_and_not_used(tmp_path, log, kept):
    last = len(log.envelopes) - 1
    data = b"".join(log.envelopes[:last]) + log.envelopes[last][:kept] + bytes(512 - kept) + bytes(2048)
    recovered = recover_bytes(tmp_path, data)
    [boot] = recovered.boots
    assert (boot.envelopes_found, boot.envelopes_expected) == (last, last + 1)
    assert losses(recovered) == [(1, last, last, "torn last write")]
    assert recovered.ledger.losses[0].tick_after_ms is None
    assert recovered_keys(boot, FLIGHT) == log.keys(but={last})
    assert states(recovered)[-2:] == [("block_damaged", 512), ("unwritten_zeros", 2048)]


def test_a_last_block_whose_magic_is_damaged_was_written(tmp_path, log):
    last = len(log.envelopes) - 1

    def flip(data):
        ruin(data, last, 0)
        data += bytes(1024)

    recovered = recover_bytes(tmp_path, damaged_log(log, flip))
    assert losses(recovered) == [(1, last, last, "damaged")]
    assert recovered.boots[0].envelopes_expected == last + 1
    assert recovered.ledger.ranges[1].detail["why"] == "header damaged"


def test_a_file_that_ends_in_a_block_lost_its_end(tmp_path, log):
    last = len(log.envelopes) - 1
    recovered = recover_bytes(tmp_path, b"".join(log.envelopes)[:-100])
    assert losses(recovered) == [(1, last, last, "torn last write")]
    assert recovered.ledger.ranges[-1].detail["why"] == "cut off by the end of the source"
    assert states(recovered)[-1] == ("block_damaged", 412)


def test_inserted_bytes_cost_only_the_block_they_are_in(tmp_path, log):
    def insert(data):
        data[512 * 3:512 * 3] = b"abc"  # between two blocks: nothing is lost
        data[512 * 8 + 200:512 * 8 + 200] = b"\x00\x8cLB"

    recovered = recover_bytes(tmp_path, damaged_log(log, insert))
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys(but={8})
    assert losses(recovered) == [(1, 8, 8, "damaged")]
    assert states(recovered)[:2] == [("block", 3 * 512), ("other", 3)]


def test_cut_out_bytes_do_not_take_the_next_block_along(tmp_path, log):
    def cut(data):
        del data[512 * 5 + 100:512 * 5 + 150]

    recovered = recover_bytes(tmp_path, damaged_log(log, cut))
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys(but={5})
    assert losses(recovered) == [(1, 5, 5, "damaged")]
    assert states(recovered)[1] == ("block_damaged", 462)


def test_a_block_inside_the_ruin_of_another_is_found(tmp_path, log):
    # The stub of one block, then a second stub, then a whole block, all within one block's length.
    stubs = log.envelopes[3][:100] + log.envelopes[4][:150]
    data = log.envelopes[0] + stubs + log.envelopes[5]
    recovered = recover_bytes(tmp_path, data)
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys(
        but=set(range(len(log.envelopes))) - {0, 5}
    )


def test_shuffled_blocks_are_put_in_order(tmp_path, log):
    blocks = list(log.envelopes)
    random.Random(9).shuffle(blocks)
    recovered = recover_bytes(tmp_path, b"".join(blocks))
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys()
    assert not recovered.ledger.has_losses


def test_blocks_whose_place_is_not_known_are_just_not_found(tmp_path, log):
    recovered = recover_bytes(tmp_path, b"".join(log.envelopes[2:4] + log.envelopes[7:]))
    assert losses(recovered) == [(1, 0, 1, "not found"), (1, 4, 6, "not found")]
    assert recovered.boots[0].envelopes_expected == len(log.envelopes)


def test_many_scattered_faults_lose_what_they_hit_and_no_more(tmp_path, log):
    generator = random.Random(20)
    data = bytearray(b"".join(log.envelopes) + bytes(4096))
    hit = set(generator.sample(range(1, len(log.envelopes) - 1), len(log.envelopes) // 3))
    for block in hit:
        for _ in range(generator.randrange(2, 5)):
            data[512 * block + generator.randrange(512)] ^= 1 << generator.randrange(8)
    # Two flips of one bit undo each other; such a block is whole again.
    hit = {n for n in hit if bytes(data[512 * n:512 * n + 512]) != log.envelopes[n]}
    recovered = recover_bytes(tmp_path, bytes(data))
    assert recovered_keys(recovered.boots[0], FLIGHT) == log.keys(but=hit)
    lost = {n for loss in recovered.ledger.losses for n in range(loss.first_number, loss.last_number + 1)}
    assert lost == hit
