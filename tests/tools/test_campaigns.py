"""A small slice of each fault campaign, and that their judges notice what they are for."""

import re
import sys
from binascii import crc_hqx
from collections import Counter
from pathlib import Path
from random import Random

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tools import campaign_filesystems, campaign_fuzz, campaign_oracle, campaign_random  # noqa: E402
from tools.campaign import cases, chances, expect, judge, reading, targets  # noqa: E402


@pytest.fixture(scope="module")
def read_case(tmp_path_factory):
    """A damaged log of which much survived, and what recovery says of it."""
    case = next(case for case in map(cases.make_case, range(1000)) if len(case.expected().rebuilt) > 3)
    path = tmp_path_factory.mktemp("case") / "card.img"
    path.write_bytes(case.image.data)
    return case, path


def failures(read_case, change=lambda seen: None):
    case, path = read_case
    seen = reading.read(path, len(case.image))
    change(seen)
    return judge.judge(case, seen).failures


def test_recovery_gives_exactly_what_the_independent_judge_expects(tmp_path):
    verdicts = [campaign_oracle.run_case(seed, tmp_path) for seed in range(60)]
    assert [(v.seed, v.failures) for v in verdicts if v.failures] == []
    counts = sum((verdict.counts for verdict in verdicts), Counter())
    assert counts["written"] > counts["survived"] > 1000 and counts["packets"] > 100


def test_the_judge_is_content_with_an_honest_reading(read_case):
    assert failures(read_case) == []


def test_the_judge_notices_a_whole_block_that_is_missed(read_case):
    assert failures(read_case, lambda seen: seen.whole.discard(min(seen.whole)))


def test_the_judge_notices_a_block_that_nobody_wrote(read_case):
    assert failures(read_case, lambda seen: seen.whole.add(max(seen.whole) + 100))


@pytest.mark.parametrize(
    "change", [lambda records: records.update([(5, 77, bytes(12))]), lambda records: records.popitem()]
)
def test_the_judge_notices_a_record_that_is_invented_or_missed(read_case, change):
    assert failures(read_case, lambda seen: change(max(seen.records["proven"].values(), key=Counter.total)))


def test_the_judge_notices_a_block_that_parity_gives_back_and_recovery_does_not(read_case):
    assert failures(read_case, lambda seen: seen.restored["rebuilt"].pop())


@pytest.mark.parametrize("level", ["rebuilt", "repaired"])
def test_the_judge_notices_a_block_that_came_from_nowhere(read_case, level):
    assert failures(read_case, lambda seen: seen.restored[level].add(("5a00c300", 9, 9)))


def test_the_judge_notices_a_loss_that_is_not_told(read_case):
    assert failures(read_case, lambda seen: seen.losses.clear())


def test_a_short_burst_is_four_neighbouring_bits_at_most():
    block = Random(1).randbytes(512)

    def turned(*bits):
        other = bytearray(block)
        for bit in bits:
            other[bit // 8] ^= 0x80 >> bit % 8  # on the line the highest bit comes first
        return expect.is_short_burst(bytes(other), block)

    assert turned(0) and turned(4095) and turned(7, 8) and turned(100, 103) and turned(100, 101, 102, 103)
    assert not turned() and not turned(100, 104) and not turned(0, 4095)


def test_the_judge_has_the_check_sum_of_the_packet():
    # CRC-16/IBM-3740 of the catalogue of parametrised CRC algorithms: check value 0x29B1 (from memory).
    assert crc_hqx(b"123456789", 0xFFFF) == 0x29B1


def test_the_chance_of_a_walk_is_what_random_bytes_show():
    few = {1: 2, 2: 3}  # small sizes, so that a million tries show something
    ways = chances.walks_exactly(few)
    assert ways[:6] == pytest.approx([1, 0, 1 / 256, 1 / 256, 1 / 256**2, 2 / 256**2])
    first, third = np.random.default_rng(3).integers(1, 3, (2, 100_000))  # kinds, of the 256 there are
    both = ((first + 1) + (third + 1) == 5).mean() * (2 / 256) ** 2
    assert ways[5] == pytest.approx(both, rel=0.02)


def test_a_packet_among_random_bytes_is_rarer_than_its_check_sums_say():
    assert chances.packet() < 2.0**-32 * 200 / 256
    assert 64e9 * chances.packet() < 0.01


def test_nothing_is_found_where_nothing_is(capsys):
    assert campaign_random.main(["--gigabytes", "0.02", "--megabytes-a-file", "1"]) == 0
    assert "20000000 bytes in 20 files, 0 reported" in capsys.readouterr().out


def test_what_is_found_among_random_bytes_is_a_failure(monkeypatch, capsys):
    monkeypatch.setattr(campaign_random, "reported", lambda recovered: ["boot 1 of flight 00000000"])
    assert campaign_random.main(["--gigabytes", "0.001"]) == 1
    assert "FAILED seed 1" in capsys.readouterr().out


def test_no_parser_raises_what_it_does_not_document(tmp_path):
    assert campaign_fuzz.main(["--runs", "150", "--engine", "mutation", "--findings", str(tmp_path)]) == 0


def test_the_fuzzer_keeps_the_input_that_breaks_a_parser(tmp_path, monkeypatch, capsys):
    def broken(data):
        if b"\xff" in data:
            raise IndexError("out of range")

    monkeypatch.setitem(targets.TARGETS, "nmea", (broken, [b"abc"], 50, 1))
    arguments = ["--runs", "500", "--engine", "mutation", "--target", "nmea", "--findings", str(tmp_path)]
    assert campaign_fuzz.main(arguments) == 1
    assert re.search(r"FAILED nmea: IndexError .*: out of range", capsys.readouterr().out)
    [kept] = tmp_path.iterdir()
    assert b"\xff" in kept.read_bytes()


@pytest.mark.skipif(
    not all(map(campaign_filesystems.tool, ("mkfs.vfat", "mcopy", "mdel"))),
    reason="dosfstools or mtools missing",
)
@pytest.mark.parametrize("fate", ["in pieces", "deleted, then written over"])
def test_a_log_is_found_in_a_real_file_system(fate):
    name = "FAT16, clusters of 2 KB"
    verdict = campaign_filesystems.run_case(
        name, campaign_filesystems.fat_case, campaign_filesystems.FAT[name], fate, seed=1
    )
    assert verdict.failures == []
    assert verdict.counts["proven"] == verdict.counts["survived"] > 0
