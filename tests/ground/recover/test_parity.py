"""Lost blocks come back from parity, bit for bit; what cannot come back is told as lost."""

import random
from collections import Counter
from struct import pack_into
from zlib import crc32

import pytest
from built_images import FLIGHT, OTHER_FLIGHT, recover_bytes, recovered_keys, states, written_log
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from parity_logs import Flight

from ground.recover import recover_sources
from ground.recover.evidence import PROVEN, REBUILT
from protocol.block import BLOCK_MAGIC, is_parity_place, parity_member

SMALL = {"depth": 4, "rate": 3}  # a stripe of 12 + 4 sectors: every start can be tried


@pytest.fixture(scope="module")
def small():
    """Three whole stripes and a part of a fourth, in one boot."""
    return Flight(**SMALL, sectors=64).boot(44, short=True)


@pytest.fixture(scope="module")
def resets():
    """Four boots, each of which tore its last write, so that resets lie in the middle of stripes."""
    flight = Flight(**SMALL, sectors=120)
    for blocks, kept in ((14, 300), (17, 40), (15, 511)):
        flight.boot(blocks, short=True).tear(kept)
    return flight.boot(30, short=True)


@pytest.fixture(scope="module")
def large():
    """The usual geometry: 16 sectors in a row, one parity sector for ten; two stripes and a little more."""
    return Flight(sectors=420).boot(325)


def wipe(image, places, fill=0):
    for place in places:
        image[512 * place:512 * place + 512] = bytes([fill]) * 512


def keys_of(recovered, flight):
    """Counter of (boot, kind, tick), after checking every value of every record."""
    counted = Counter()
    for log in recovered.boots:
        if log.flight == flight.flight.hex():
            for key, count in recovered_keys(log, flight.flight).items():
                counted[(log.boot, *key)] += count
    return counted


def lost_blocks(recovered):
    """Number of blocks that the ledger calls lost."""
    return sum(loss.count for loss in recovered.ledger.losses)


def check(tmp_path, flight, image, gone=()):
    """Recover an image: everything written is there but what stood in the places `gone`."""
    recovered = recover_bytes(tmp_path, bytes(image))
    assert keys_of(recovered, flight) == flight.keys(set(flight.blocks()) - set(gone))
    return recovered


def protected(flight):
    """Places with records whose parity was written."""
    return {
        parity_member(place, flight.depth, flight.rate, k)
        for place in flight.parity_places() for k in range(flight.rate)
    } & set(flight.blocks())


@pytest.mark.parametrize("length", [1, 2, 3, 4])
def test_any_run_of_up_to_the_depth_comes_back_from_every_start(tmp_path, small, length):
    written = set(small.blocks()) | set(small.parity_places())
    for start in range(max(written) - length + 2):
        image, run = small.image, set(range(start, start + length))
        wipe(image, run, fill=0xFF * (start % 2))
        gone = run & set(small.blocks()) - protected(small)
        recovered = check(tmp_path, small, image, gone)
        rebuilt = len(run & protected(small))
        assert recovered.boots[0].envelopes_rebuilt == rebuilt
        assert recovered.ledger.evidence["blocks"]["rebuilt"] == rebuilt
        # Blocks at the very end leave no number behind that would be missing.
        assert lost_blocks(recovered) == (0 if max(run) >= max(small.blocks()) else len(gone))


def test_one_sector_more_than_the_depth_is_an_honest_loss(tmp_path, small):
    for start in range(0, 44):
        image, run = small.image, set(range(start, start + 5))
        wipe(image, run)
        # The first and the last of the run are of one group, if parity does not lie between.
        blocks = set(small.blocks())
        groups = Counter(place // 16 * 4 + place % 4 for place in run & blocks)
        parity = {place // 16 * 4 + place % 4 for place in run - blocks}
        gone = {
            place for place in run & blocks
            if groups[place // 16 * 4 + place % 4] > 1 or place // 16 * 4 + place % 4 in parity
        }
        recovered = check(tmp_path, small, image, gone)
        assert lost_blocks(recovered) == len(gone)


def test_runs_across_resets_and_torn_blocks_come_back_from_every_start(tmp_path, resets):
    assert len({header["boot"] for header in resets.blocks().values()}) == 4
    last_parity = max(resets.parity_places())
    torn = 3  # they were never whole, and are the only losses
    for start in range(last_parity - 3):
        image, run = resets.image, set(range(start, start + 4))
        wipe(image, run)
        recovered = check(tmp_path, resets, image)
        assert [log.boot for log in recovered.boots] == [1, 2, 3, 4]
        assert lost_blocks(recovered) == torn


@pytest.mark.parametrize("start", [0, 3, 100, 143, 150, 157, 160, 170, 176, 200, 330])
def test_sixteen_sectors_in_a_row_come_back_and_seventeen_cost_two(tmp_path, large, start):
    image = large.image
    wipe(image, range(start, start + 16))
    recovered = check(tmp_path, large, image)
    assert recovered.ledger.losses == []
    if start % 176 + 17 <= 160:
        wipe(image, [start + 16])
        recovered = check(tmp_path, large, image, {start, start + 16})
        assert lost_blocks(recovered) == 2


def test_what_was_rebuilt_is_the_very_block(tmp_path, large):
    image = large.image
    wipe(image, [37])
    recovered = check(tmp_path, large, image)
    [entry] = recovered.ledger.restored
    header = large.blocks()[37]
    assert entry == {
        "evidence": "rebuilt", "flight": FLIGHT.hex(), "boot": 1, "number": header["number"], "place": 37,
        "stood_at": "byte 18944", "from_parity_at_place": 165,
    }
    assert ("rebuilt", 512) in states(recovered)
    [log] = recovered.boots
    levels = sum((Counter(records.evidence.tolist()) for records in log.records.values()), Counter())
    assert set(levels) == {PROVEN, REBUILT}
    assert recovered.ledger.evidence["records"]["rebuilt"] == levels[REBUILT]
    for name, records in log.records.items():
        if name != "manifest":
            of_block = [key for key in large.keys({37}) if key[1] == name]
            assert sorted(records.tick_ms[records.evidence == REBUILT]) == sorted(key[2] for key in of_block)


def test_an_intact_log_needs_nothing_and_counts_its_parity(tmp_path, large):
    recovered = check(tmp_path, large, large.image)
    assert recovered.ledger.restored == [] and not recovered.ledger.has_losses
    assert recovered.ledger.parity == {FLIGHT.hex(): {"found": 32, "missing": 0}}
    assert recovered.ledger.bytes_by_state()["parity"] == 32 * 512
    assert recovered.ledger.evidence["blocks"] == {"proven": len(large.blocks()), "rebuilt": 0, "repaired": 0}
    assert recovered.boots[0].envelopes_expected == len(large.blocks())


def test_lost_parity_is_a_note_and_no_loss(tmp_path, large):
    image = large.image
    wipe(image, [161, 166])
    for byte in (100, 200, 300):
        image[512 * 170 + byte] ^= 1
    recovered = check(tmp_path, large, image)
    assert not recovered.ledger.has_losses
    assert recovered.ledger.parity[FLIGHT.hex()] == {"found": 29, "missing": 3}
    assert any("3 of 32 parity blocks are lost" in note for note in recovered.ledger.notes)
    assert ("parity_damaged", 512) in states(recovered)


def test_two_losses_in_one_group_stay_lost_and_the_other_groups_come_back(tmp_path, large):
    image = large.image
    lost = {5, 5 + 16 * 7}
    wipe(image, lost | {6, 30, 31})
    recovered = check(tmp_path, large, image, lost)
    assert lost_blocks(recovered) == 2
    assert recovered.boots[0].envelopes_rebuilt == 3


def test_a_parity_block_with_a_wrong_bit_still_rebuilds(tmp_path, large):
    image = large.image
    wipe(image, [37])
    image[512 * 165 + 77] ^= 8
    assert check(tmp_path, large, image).boots[0].envelopes_rebuilt == 1


def test_a_repaired_member_helps_to_rebuild_another(tmp_path, large):
    image = large.image
    wipe(image, [37])
    image[512 * (37 + 16) + 200] ^= 2
    [log] = check(tmp_path, large, image).boots
    assert (log.envelopes_rebuilt, log.envelopes_repaired) == (1, 1)


def test_stale_blocks_of_another_flight_in_a_stripe_count_as_zeros(tmp_path):
    flight = Flight(**SMALL, sectors=64)
    stale = written_log(flight=OTHER_FLIGHT, rounds=12).envelopes
    for place, block in zip((2, 3, 7, 20), stale, strict=False):
        flight.card.sectors[place] = block
    flight.boot(36, short=True)
    assert not {2, 3, 7, 20} & set(flight.blocks())
    for place in sorted(protected(flight)):
        image = flight.image
        wipe(image, [place])
        recovered = check(tmp_path, flight, image)
        assert {loss.flight for loss in recovered.ledger.losses} <= {OTHER_FLIGHT.hex()}


def test_sectors_that_the_card_refused_are_no_losses_and_hinder_no_rebuilding(tmp_path):
    flight = Flight(**SMALL, sectors=64)
    flight.card.refused = {5, 17, 18, 29}  # 29 is a parity place
    flight.boot(36, short=True)
    assert is_parity_place(29, 4, 3) and not {5, 17, 18, 29} & set(flight.blocks())
    recovered = check(tmp_path, flight, flight.image)
    assert recovered.ledger.losses == []
    unprotected = {parity_member(29, 4, 3, k) for k in range(3)}
    for place in sorted(flight.blocks())[:-12]:
        image = flight.image
        wipe(image, [place])
        recovered = check(tmp_path, flight, image, {place} & unprotected)
        assert lost_blocks(recovered) == (place in unprotected)


def test_members_are_found_wherever_they_lie(tmp_path, small):
    sectors = list(small.card.sectors)
    lost = sectors.pop(9)
    random.Random(4).shuffle(sectors)
    recovered = check(tmp_path, small, b"xyz" + b"".join(sectors))
    assert lost not in sectors and recovered.boots[0].envelopes_rebuilt == 1


def test_random_ruin_never_gives_a_record_that_was_not_written(tmp_path, resets):
    generator = random.Random(11)
    written = resets.keys()
    for _ in range(60):
        image = resets.image
        for _ in range(generator.randrange(1, 30)):
            at = generator.randrange(len(image) - 600)
            verb = generator.randrange(4)
            if verb == 0:
                image[at:at + 512] = image[generator.randrange(0, len(image), 512):][:512].ljust(512, b"\0")
            elif verb == 1:
                image[at] ^= 1 << generator.randrange(8)
            elif verb == 2:
                image[at:at + generator.randrange(1, 600)] = b""
            else:
                wipe(image, [at // 512])
        recovered = recover_bytes(tmp_path, bytes(image))
        assert keys_of(recovered, resets) <= written


def test_two_images_of_a_card_rebuild_together_what_neither_could(tmp_path, large):
    paths = []
    for number, lost in enumerate(([5, 5 + 16 * 7, 30], [5, 40])):
        image = large.image
        wipe(image, lost)
        paths.append(tmp_path / f"card-{number}.img")
        paths[-1].write_bytes(image)
    recovered = recover_sources(paths)
    recovered.ledger.check()
    assert keys_of(recovered, large) == large.keys()
    assert recovered.ledger.losses == []
    [entry] = recovered.ledger.restored
    assert (entry["place"], entry["stood_at"]) == (5, "card-0.img byte 2560")
    assert recovered.ledger.evidence["blocks"]["rebuilt"] == 1


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.randoms(use_true_random=False))
def test_whole_blocks_of_any_header_are_survived(tmp_path, chance):
    sectors = []
    for _ in range(chance.randrange(1, 12)):
        sector = bytearray(chance.randbytes(508))
        large = chance.choice([4, 40, 2**16, 2**32])
        places = [chance.randrange(large) for _ in range(3)]
        pack_into(
            "<4sBBBB4sIIHIH", sector, 0, BLOCK_MAGIC, 1, chance.choice([0, 0, 0, 1, 1, 3]),
            chance.choice([0, 1, 4, 255]), chance.choice([0, 1, 3, 255]), FLIGHT, *places[:2],
            chance.randrange(3), places[2], chance.randrange(600),
        )
        sectors.append(bytes(sector + crc32(sector).to_bytes(4, "little")))
        if chance.random() < 0.3:
            sectors.append(bytearray(sectors[-1]))
            sectors[-1][chance.randrange(512)] ^= 1 << chance.randrange(8)
    recovered = recover_bytes(tmp_path, b"".join(sectors))
    assert recovered.ledger.evidence["blocks"]["rebuilt"] == 0


def test_random_parity_blocks_rebuild_nothing(tmp_path, small):
    # Parity that was never made from these members: no number can make what comes out whole and fit.
    generator = random.Random(7)
    for _ in range(100):
        image = small.image
        wipe(image, [5])
        for place in small.parity_places():
            start = 512 * place
            image[start + 16:start + 508] = generator.randbytes(492)
            image[start + 508:start + 512] = crc32(image[start:start + 508]).to_bytes(4, "little")
        check(tmp_path, small, image, {5})
