"""Several sources of one flight: used together, each covered by itself, contradictions told."""

import json
import random
import struct
from zlib import crc32

import pytest
from built_images import FLIGHT, OTHER_FLIGHT, Writer, losses, recovered_keys, written_log

from ground.errors import LoftbookError
from ground.layout import crc16
from ground.recover import recover_source, recover_sources
from protocol.block import BLOCK_LIMIT

LOG = written_log(rounds=60)
COUNT = len(LOG.envelopes)
NOT_READABLE = "its place could not be read"


def card(but=(), wiped=(), flipped=(), log=LOG, ahead=4096):
    """A card image: unwritten space, the log without the blocks `but`, with faults, unwritten space."""
    blocks = [bytearray(block) for block in log.envelopes]
    for number in wiped:
        blocks[number][:] = bytes(512)
    for number in flipped:
        for byte in (100, 300):  # two bits far apart cannot be repaired
            blocks[number][byte] ^= 4
    return bytes(ahead) + b"".join(block for i, block in enumerate(blocks) if i not in but) + bytes(8192)


def recover_all(tmp_path, *contents):
    paths = []
    for number, content in enumerate(contents):
        paths.append(tmp_path / f"source-{number}.img")
        paths[-1].write_bytes(content)
    told = []
    recovered = recover_sources(paths, progress=lambda done, total: told.append((done, total)))
    recovered.ledger.check()
    assert [source.size for source in recovered.ledger.sources] == [len(content) for content in contents]
    assert told == sorted(told) and told[-1] == (sum(map(len, contents)),) * 2
    return recovered


def made_good(recovered):
    """[(source, offset, by which other)] of the damage that another source makes good."""
    return [
        (source.source, item.offset, item.detail["made_good_by"])
        for source in recovered.ledger.sources for item in source.ranges if "made_good_by" in item.detail
    ]


def test_what_one_image_lost_and_the_other_has_is_not_lost(tmp_path):
    recovered = recover_all(tmp_path, card(wiped=[5, 6], flipped=[9]), card(flipped=[2, 10], ahead=512))
    [boot] = recovered.boots
    assert recovered_keys(boot, FLIGHT) == LOG.keys()
    assert (boot.envelopes_found, boot.envelopes_expected) == (COUNT, COUNT)
    assert losses(recovered) == []
    assert made_good(recovered) == [
        ("source-0.img", 4096 + 512 * 9, "source-1.img"),
        ("source-1.img", 512 + 512 * 2, "source-0.img"), ("source-1.img", 512 + 512 * 10, "source-0.img"),
    ]
    assert not recovered.ledger.has_losses


def test_what_both_lost_has_the_reason_of_the_first_that_knows_one(tmp_path):
    first = card(but=[3], wiped=[7], flipped=[12])
    second = card(flipped=[3, 7, 20], but=[12])
    recovered = recover_all(tmp_path, first, second)
    assert losses(recovered) == [
        (1, 3, 3, "damaged"), (1, 7, 7, "wiped: its place holds zeros or ones"), (1, 12, 12, "damaged"),
    ]
    assert recovered_keys(recovered.boots[0], FLIGHT) == LOG.keys(but={3, 7, 12})
    ticks = [struct.unpack_from("<I", block, 22)[0] for block in (LOG.envelopes[6], LOG.envelopes[8])]
    loss = recovered.ledger.losses[1]
    assert [loss.tick_before_ms, loss.tick_after_ms] == ticks
    assert recovered.ledger.has_losses


def test_losses_together_are_what_no_source_holds_whatever_the_damage(tmp_path):
    generator = random.Random(11)
    for _ in range(8):
        hit = [set(generator.sample(range(1, COUNT - 1), COUNT // 2)) for _ in range(3)]
        images = []
        for numbers in hit:
            numbers = sorted(numbers)
            cuts = [generator.randrange(len(numbers) + 1) for _ in range(2)]
            a, b = min(cuts), max(cuts)
            images.append(card(but=numbers[:a], wiped=numbers[a:b], flipped=numbers[b:]))
        recovered = recover_all(tmp_path, *images)
        lost = set.intersection(*hit)
        told = {n for loss in recovered.ledger.losses for n in range(loss.first_number, loss.last_number + 1)}
        assert told == lost
        assert recovered_keys(recovered.boots[0], FLIGHT) == LOG.keys(but=lost)
        assert recovered.boots[0].envelopes_expected == COUNT
        alone = recover_source(tmp_path / "source-0.img")
        assert {loss.first_number for loss in alone.ledger.losses} <= hit[0]


def test_two_halves_of_a_log_are_one(tmp_path):
    half = COUNT // 2
    first, second = card(but=range(half, COUNT)), card(but=range(half))
    recovered = recover_all(tmp_path, first, second)
    assert recovered_keys(recovered.boots[0], FLIGHT) == LOG.keys()
    assert not recovered.ledger.has_losses


def test_blocks_of_a_number_that_differ_are_a_conflict_told_with_both_places(tmp_path):
    other = bytearray(LOG.envelopes[4])
    other[60] ^= 1
    other[BLOCK_LIMIT:] = crc32(other[:BLOCK_LIMIT]).to_bytes(4, "little")
    second = bytearray(card())
    second[4096 + 512 * 4:4096 + 512 * 5] = other
    recovered = recover_all(tmp_path, card(), bytes(second))
    assert recovered_keys(recovered.boots[0], FLIGHT) == LOG.keys()
    assert (
        f"flight {FLIGHT.hex()} boot 1 block 4: source-0.img byte {4096 + 512 * 4} and source-1.img byte "
        f"{4096 + 512 * 4} hold different bytes, both with a right check sum; the first is used"
    ) in recovered.ledger.notes
    unused = next(item for item in recovered.ledger.sources[1].ranges if item.offset == 4096 + 512 * 4)
    assert unused.length == 512 and "this one is not used" in unused.detail["note"]
    # The other way round the other one counts.
    swapped = recover_all(tmp_path, bytes(second), card())
    assert any("source-0.img byte" in note and "source-1.img byte" in note for note in swapped.ledger.notes)
    with pytest.raises(AssertionError):
        recovered_keys(swapped.boots[0], FLIGHT)


def test_a_contradiction_within_one_source_has_both_places_too(tmp_path):
    other = bytearray(LOG.envelopes[4])
    other[60] ^= 1
    other[BLOCK_LIMIT:] = crc32(other[:BLOCK_LIMIT]).to_bytes(4, "little")
    recovered = recover_all(tmp_path, card() + bytes(other))
    assert any(
        f"block 4: byte {4096 + 512 * 4} and byte {len(card())} hold different bytes" in note
        for note in recovered.ledger.notes
    )


def radio(log=None, heard=None, seed=1, rounds=60):
    """(what a listener captured: packets between noise, the sender)."""
    sender = log or written_log(rounds=rounds, packets=True)
    generator = random.Random(seed)
    packets = [packet for i, packet in enumerate(sender.envelopes) if heard is None or i in heard]
    return b"".join(generator.randbytes(generator.randrange(30)) + packet for packet in packets), sender


def test_two_listeners_together_miss_only_what_both_missed(tmp_path):
    _, sender = radio()
    count = len(sender.envelopes)
    generator = random.Random(3)
    missed = [set(generator.sample(range(10, count - 1), count // 3)) for _ in range(2)]
    captures = [radio(sender, set(range(count)) - lost, seed)[0] for seed, lost in enumerate(missed)]
    recovered = recover_all(tmp_path, *captures)
    [boot] = recovered.boots
    both = missed[0] & missed[1]
    assert recovered_keys(boot, FLIGHT) == sender.keys(but=both)
    assert (boot.envelopes_found, boot.envelopes_expected) == (count - len(both), count)
    told = {n for loss in recovered.ledger.losses for n in range(loss.first_number, loss.last_number + 1)}
    assert told == both
    assert {loss.reason for loss in recovered.ledger.losses} == {"link gap"}
    twice = count - len(missed[0] | missed[1])
    assert f"{twice} packets stand in the sources more than once; each is used once" in recovered.ledger.notes


def test_a_listener_who_came_later_and_one_who_left_earlier_are_put_together(tmp_path):
    _, sender = radio()
    count = len(sender.envelopes)
    late, early = set(range(count // 3, count)), set(range(2 * count // 3))
    recovered = recover_all(tmp_path, radio(sender, late, 1)[0], radio(sender, early, 2)[0])
    [boot] = recovered.boots
    assert recovered_keys(boot, FLIGHT) == sender.keys()
    assert losses(recovered) == []


def test_records_that_card_and_capture_hold_are_kept_once(tmp_path):
    capture, sender = radio(rounds=60)
    shared = LOG.keys() & sender.keys()
    assert len(shared) > 400
    recovered = recover_all(tmp_path, card(flipped=[5, 6, 7]), capture)
    [boot] = recovered.boots
    assert recovered_keys(boot, FLIGHT) == LOG.keys(but={5, 6, 7}) | sender.keys()
    assert losses(recovered) == [(1, 5, 7, "damaged")]
    assert boot.envelopes_found == COUNT - 3 + len(sender.envelopes)
    assert boot.packets_found == len(sender.envelopes) <= boot.packets_expected


def repaired(packet):
    """The packet with a right CRC-16 again (over everything between sync and CRC, see FORMAT.md)."""
    return packet[:-2] + crc16(packet[2:-2]).to_bytes(2, "little")


def test_packets_of_a_number_that_differ_are_a_conflict_told_with_both_places(tmp_path):
    capture, sender = radio()
    changed = list(sender.envelopes)
    for number in (15, 30):
        packet = bytearray(changed[number])
        packet[-3] ^= 1
        changed[number] = repaired(bytes(packet))
    recovered = recover_all(tmp_path, capture, b"".join(changed))
    [boot] = recovered.boots
    assert recovered_keys(boot, FLIGHT) == sender.keys()
    assert boot.envelopes_found == len(sender.envelopes)
    place = sum(map(len, changed[:15]))
    start = "packet 15 of boot 1: source-0.img byte "
    [note] = [note for note in recovered.ledger.notes if note.startswith(start)]
    assert f" and source-1.img byte {place} hold different bytes, both with a right check sum" in note
    unused = [
        item for item in recovered.ledger.sources[1].ranges
        if "this one is not used" in item.detail.get("note", "")
    ]
    assert [item.offset for item in unused] == [place, sum(map(len, changed[:30]))]


def test_two_boots_that_look_alike_are_not_taken_for_one(tmp_path):
    # The same boot byte and flight byte, the same numbers, nearly the same ticks: not one packet agrees.
    first, sender = radio()
    other = written_log(rounds=60, packets=True, flight=FLIGHT[:1] + b"\x01\x02\x03", start_ms=45)
    recovered = recover_all(tmp_path, first, b"".join(other.envelopes))
    assert [boot.flight for boot in recovered.boots] == [FLIGHT.hex(), "5a010203"]
    assert recovered_keys(recovered.boots[0], FLIGHT) == sender.keys()
    assert recovered_keys(recovered.boots[1], FLIGHT[:1] + b"\x01\x02\x03") == other.keys()


def test_a_single_packet_is_believed_in_a_capture_though_not_on_a_card(tmp_path):
    one = Writer(flight=OTHER_FLIGHT, packets=True).add_rounds(1).close()[0]
    noise = random.Random(8).randbytes(700)
    recovered = recover_all(tmp_path, card(), noise + one)
    assert [boot.flight for boot in recovered.boots] == [FLIGHT.hex(), f"unknown-{OTHER_FLIGHT[0]:02x}"]
    recovered = recover_all(tmp_path, card() + noise + one, noise)
    assert [boot.flight for boot in recovered.boots] == [FLIGHT.hex()]
    start = f"source-0.img byte {len(card()) + 700}: looks like one"
    assert any(note.startswith(start) for note in recovered.ledger.notes)


def test_other_flights_of_any_source_are_told_apart(tmp_path):
    other = written_log(rounds=20, flight=OTHER_FLIGHT, boot=3)
    recovered = recover_all(tmp_path, card(), card(log=other, flipped=[1]))
    boots = [(boot.flight, boot.boot) for boot in recovered.boots]
    assert boots == [(FLIGHT.hex(), 1), (OTHER_FLIGHT.hex(), 3)]
    assert recovered_keys(recovered.boots[1], OTHER_FLIGHT) == other.keys(but={1})
    assert losses(recovered) == [(3, 1, 1, "damaged")]


def test_a_source_of_nothing_takes_nothing_from_the_others(tmp_path):
    recovered = recover_all(tmp_path, bytes(5000), card(flipped=[3]))
    assert recovered_keys(recovered.boots[0], FLIGHT) == LOG.keys(but={3})
    assert losses(recovered) == [(1, 3, 3, "damaged")]


def test_the_ledger_has_an_entry_for_every_source_and_one_list_of_losses(tmp_path):
    recovered = recover_all(tmp_path, card(wiped=[5]), card(wiped=[5, 6]))
    ledger = json.loads(json.dumps(recovered.ledger.to_json()))
    assert (ledger["format"], ledger["version"]) == ("loftbook-ledger", 2)
    assert [entry["source"]["name"] for entry in ledger["sources"]] == ["source-0.img", "source-1.img"]
    for entry in ledger["sources"]:
        assert sum(item["length"] for item in entry["ranges"]) == entry["source"]["size"]
        assert sum(entry["bytes_by_state"].values()) == entry["source"]["size"]
    assert [loss["first_number"] for loss in ledger["losses"]] == [5]
    assert not {"source", "ranges", "bytes_by_state"} & ledger.keys()


def test_a_source_named_twice_is_refused(tmp_path):
    path = tmp_path / "card.img"
    path.write_bytes(card())
    (tmp_path / "link.img").symlink_to(path)
    for again in (path, tmp_path / "link.img"):
        with pytest.raises(LoftbookError, match="is named twice; name every source once"):
            recover_sources([path, again])


def test_one_source_that_is_missing_is_named(tmp_path):
    (tmp_path / "card.img").write_bytes(card())
    with pytest.raises(LoftbookError, match=r"radio\.bin: no such file"):
        recover_sources([tmp_path / "card.img", tmp_path / "radio.bin"])
