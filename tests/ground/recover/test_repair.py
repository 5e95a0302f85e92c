"""One wrong bit, or a few neighbouring ones, are repaired; others never into something that was not
written.
"""

import random
from collections import Counter

import numpy as np
import pytest
from built_images import FLIGHT, Writer, losses, recover_bytes, recovered_keys, states, written_log
from foreign_kinds import AnyRecord, newer_lines, proven

from ground.recover.blocks import BlockScanner
from ground.recover.restore import restore
from ground.recover.stock import Stock
from ground.recover.syndrome import bit_syndromes, number_of, patterns, syndrome

PATTERNS = 4096 + 4095 + 2 * 4094 + 4 * 4093  # one bit; two neighbours; bursts over three and over four bits
BURSTS = ((0, 1), (0, 2), (0, 1, 2), (0, 3), (0, 1, 3), (0, 2, 3), (0, 1, 2, 3))


@pytest.fixture(scope="module")
def log():
    return written_log(rounds=8)


class Memory:
    """Bytes as a source."""

    def __init__(self, data):
        self.data = data

    def read_into(self, offset, view):
        """As Source.read_into."""
        view[:] = self.data[offset:offset + len(view)]

    def feed(self, offset, data):
        """As Gaps.feed."""

    def damaged(self, offset, data):
        """As Gaps.damaged."""


def restored_from(data):
    """[bytes] of the blocks restored from this source, without decoding them."""
    source = Memory(data)
    scanner = BlockScanner(len(data), source)
    scanner.window(0, memoryview(data), len(data))
    with Stock(source, scanner.found()) as stock:
        restore(stock, source, scanner.damaged, list)
        blocks = []
        for index in range(len(stock.restored)):
            block = bytearray(512)
            stock.read_restored(index, memoryview(block))
            blocks.append(bytes(block))
        return blocks


def with_wrong(log, block, bits):
    """The log's bytes with these bits (index 8 * byte + bit) of a block turned over."""
    data = bytearray(b"".join(log.envelopes))
    for bit in bits:
        data[512 * block + bit // 8] ^= 1 << bit % 8
    return bytes(data)


def on_the_line(position):
    """Index of the bit that is sent at a position: the most significant of a byte first."""
    return 8 * (position // 8) + 7 - position % 8


@pytest.mark.parametrize("block", [0, 2, -1])
def test_every_single_bit_of_a_block_is_repaired(log, block):
    block %= len(log.envelopes)
    # The first, one in the middle and the last of a log differ in their neighbours.
    for bit in range(0, 4096, 1 if block == 2 else 7):
        assert restored_from(with_wrong(log, block, [bit])) == [log.envelopes[block]], bit


def test_every_burst_of_up_to_four_bits_is_repaired(log):
    generator = random.Random(3)
    for shape in BURSTS:
        for position in generator.sample(range(4096 - 3), 60):
            bits = [on_the_line(position + step) for step in shape]
            assert restored_from(with_wrong(log, 3, bits)) == [log.envelopes[3]]


def test_a_repaired_block_is_marked_and_told(tmp_path, log):
    recovered = recover_bytes(tmp_path, with_wrong(log, 2, [8 * 100 + 5]))
    [boot] = recovered.boots
    assert recovered_keys(boot, FLIGHT) == log.keys()
    assert boot.envelopes_found == len(log.envelopes)
    assert (boot.envelopes_repaired, boot.envelopes_rebuilt) == (1, 0)
    assert losses(recovered) == [] and not recovered.ledger.has_losses
    [entry] = recovered.ledger.restored
    assert (entry["evidence"], entry["number"], entry["bits_turned_over"]) == ("repaired", 2, [[100, 5]])
    assert ("repaired", 512) in states(recovered)
    counted = recovered.ledger.evidence
    assert counted["blocks"] == {"proven": len(log.envelopes) - 1, "rebuilt": 0, "repaired": 1}
    marked = sum(int((records.evidence == 2).sum()) for records in boot.records.values())
    assert marked == counted["records"]["repaired"] > 0


def test_patterns_are_as_many_as_counted_and_no_pair_of_bits_looks_like_another(log):
    table = patterns()
    # All differ, or the table would hold fewer; the number is that of the arithmetic in repair.py.
    assert len(table) == PATTERNS == 32751
    words, known = bit_syndromes(), np.array(sorted(table), np.uint32)
    mistaken = 0
    for first in range(4095):
        pairs = words[first] ^ words[first + 1:]
        at = np.minimum(np.searchsorted(known, pairs), len(known) - 1)
        for hit in np.flatnonzero(known[at] == pairs).tolist():
            mistaken += set(table[int(pairs[hit])]) != {first, first + 1 + hit}
    assert mistaken == 0


def test_syndromes_are_those_of_the_check_sum(log):
    # bit_syndromes is derived from an empty block; zlib says the same of any other.
    generator = random.Random(8)
    words = bit_syndromes()
    for block in log.envelopes[:3]:
        assert syndrome(block) == 0
        for _ in range(50):
            bits = generator.sample(range(4096), 3)
            damaged = bytearray(block)
            for bit in bits:
                damaged[bit // 8] ^= 1 << bit % 8
            assert syndrome(damaged) == int(np.bitwise_xor.reduce(words[bits]))


def test_the_number_follows_from_the_rest_of_a_block(log):
    for block in log.envelopes:
        number = int.from_bytes(block[16:20], "little")
        for wrong in (0, 77, 0xFFFFFFFF):
            assert number_of(block[:16] + wrong.to_bytes(4, "little") + block[20:]) == number


def test_bits_that_lie_apart_are_never_repaired_to_something_else(log):
    generator = random.Random(5)
    for wrong in (2, 2, 3, 5, 8, 50):
        for _ in range(250):
            bits = generator.sample(range(4096), wrong)
            block = generator.randrange(len(log.envelopes))
            for restored in restored_from(with_wrong(log, block, bits)):
                assert restored == log.envelopes[block]


def test_a_random_syndrome_hits_a_pattern_as_rarely_as_the_arithmetic_says():
    # Three bits at random, as the smallest damage beyond pairs: expected 32751 / 2^32 of four million, 30.5.
    generator = np.random.default_rng(2)
    words, known = bit_syndromes(), np.array(sorted(patterns()), np.uint32)
    bits = generator.integers(0, 4096, (4_000_000, 3))
    apart = (np.abs(np.diff(np.sort(bits, axis=1), axis=1)) > 8).all(axis=1)
    damage = words[bits[apart, 0]] ^ words[bits[apart, 1]] ^ words[bits[apart, 2]]
    hits = int(np.isin(damage, known).sum())
    assert 8 < hits < 70


def test_a_block_that_another_flight_would_need_is_refused(log):
    # The right bits, but the identity belongs to nobody near: a lone damaged block is not repaired.
    damaged = bytearray(log.envelopes[2])
    damaged[100] ^= 1
    assert restored_from(bytes(damaged)) == []
    other = written_log(flight=b"\x01\x02\x03\x04", rounds=8)
    data = b"".join([*other.envelopes[:2], bytes(damaged), *other.envelopes[3:]])
    assert restored_from(data) == []


@pytest.mark.parametrize("change", [
    {"number": 50}, {"boot": 3}, {"tick": 400_000_000}, {"records": b"\xee\0\0\0"},
    {"records": b"\5\0\0" + bytes(9)},
])
def test_a_block_that_does_not_fit_its_neighbours_is_refused(log, change):
    header = {"boot": 1, "number": 2, "tick": 40, "records": b"", **change}
    builder = Writer()._builder
    builder.open(header["tick"])
    builder.buffer[29:29 + len(header["records"])] = header["records"]
    builder.used = len(header["records"])
    builder.close(FLIGHT, header["boot"], header["number"], 0, place=2)
    strange = bytearray(builder.buffer)
    strange[300] ^= 4
    data = b"".join([*log.envelopes[:2], bytes(strange), *log.envelopes[3:]])
    assert restored_from(data) == []


def test_kinds_that_only_the_manifest_tells_are_no_hindrance(tmp_path):
    writer = Writer().add_manifest(proven(newer_lines()))
    for i in range(200):
        writer._put(AnyRecord(200, bytes([i, 0, 0, 0, i])), 100 + i)
    writer.close()
    data = bytearray(b"".join(writer.envelopes))
    data[512 * (len(writer.envelopes) - 2) + 90] ^= 1
    [boot] = recover_bytes(tmp_path, bytes(data)).boots
    assert boot.envelopes_repaired == 1
    assert boot.records["ozone"].tick_ms.tolist() == list(range(100, 300))
    assert Counter(boot.records["ozone"].evidence.tolist())[2] > 50
