"""The account of a recovery: short, in plain words, and nothing in it that the ledger does not say."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from made_flight import FLIGHT, START_UTC_MS, Plan, boot_log, keep_all, log_of, records_of, truth_of

from ground.decode import decode_flight
from ground.recover import losses
from ground.recover.ledger import (
    BLOCK, BLOCK_DAMAGED, CUT_OFF, MADE_GOOD, PACKET, UNREADABLE, Coverage, Ledger, Loss, Range,
)
from ground.recover.result import Recovered, UnprovenLog
from ground.report import account
from ground.report.holes import find_holes
from ground.report.plain import duration
from ground.statements import summarise

# Without noise and clock drift, so that times and heights in the expected texts follow from the plan alone:
# launch at 120 s, burst at 480.3 s, landing at 806.05 s; a pressure sample every half second.
PLAN = Plan(burst_m=2000.0, wait_s=120.0, rest_s=120.0, drift_ppm=0.0, fix_noise_m=0.0, pressure_noise_pa=0.0)
WHOLE = Range(0, 512, BLOCK, {"flight": FLIGHT, "boot": 1, "first_number": 0, "last_number": 0})
HEARD = Range(0, 90, PACKET, {"flight_byte": FLIGHT[:2], "boot_byte": 1, "first_number": 0, "last_number": 0})
WHEN = """\
When              2026-05-09 08:04:59 to 08:05:02 UTC, 2 min 59 s to 3 min 2 s
                  after launch
Heights           between 1 020 and 1 040 m
Without data      2.5 s of 15 min 26 s, all of it in flight
"""
BESIDE_CARD = """\
What to do        Give loftbook recover another source beside this: a second
                  copy of the card, or what was heard on the ground.
"""
BESIDE_LINK = """\
What to do        Give loftbook recover another source beside this: its card, or
                  what others heard.
"""
FOUND = """\
Found             90 of 100 blocks, in 1 boot: 90 whole, proven by check sums
"""


@pytest.fixture(scope="module")
def log():
    return log_of(PLAN)


@pytest.fixture(scope="module")
def holed(log):
    """Without the two seconds that one block holds."""
    return hole_in(log, (300, 302))


def hole_in(log, *spans_s):
    """The log without the records of these spans of its time."""
    for first_s, last_s in spans_s:
        log = keep_all(log, lambda time_s: (time_s < first_s) | (time_s >= last_s))
    return log


def lost(first, last, before_s, after_s, reason, envelope="block", boot=1, flight=FLIGHT):
    ticks = [None if time_s is None else round(1000 * time_s) for time_s in (before_s, after_s)]
    return Loss(flight, boot, envelope, first, last, *ticks, reason)


def told(log, *lost, ranges=(WHOLE,), sources=None, unproven=()):
    sources = sources or [Coverage("card.img", 512, list(ranges))]
    ledger = Ledger(sources, list(lost))
    flight = decode_flight([log])
    return account(ledger, flight, summarise(flight, Recovered([log], ledger)), unproven)


def body(text):
    """Without the heading."""
    heading, empty, *lines = text.splitlines(keepends=True)
    assert (heading, empty) == (f"What came back of flight {FLIGHT}, and what did not\n", "\n")
    return "".join(lines)


def test_nothing_lost_is_told_in_two_lines(log):
    assert told(log) == (
        f"Nothing of flight {FLIGHT} is lost, by its numbers, in 15 min 26 s:\n"
        "90 blocks whole, proven by check sums.\n"
    )


def test_what_came_back_is_told_by_its_evidence(log, holed):
    restored = replace(log, envelopes_found=90, envelopes_rebuilt=7, envelopes_repaired=1)
    assert told(restored) == (
        f"Nothing of flight {FLIGHT} is lost, by its numbers, in 15 min 26 s:\n"
        "82 blocks whole, 7 rebuilt from parity, 1 repaired.\n"
    )
    doubtful = [
        UnprovenLog(flight, 1, None, {"air": records_of("air", [300_100, 300_600])}, {})
        for flight in (FLIGHT, "ffffffff")
    ]
    holed = replace(holed, envelopes_rebuilt=7, envelopes_repaired=1)
    text = told(holed, lost(20, 20, 298, 302, losses.DAMAGED), unproven=doubtful)
    assert body(text) == """\
Found             90 of 100 blocks, in 1 boot: 82 whole, 7 rebuilt from parity,
                  1 repaired
Unproven          2 records of damaged blocks, in no table (recover --unproven)
Lost              1 block, 1.0 %: 1 damaged (wrong bits)
""" + WHEN + BESIDE_CARD


@pytest.mark.parametrize(("reason", "words"), [
    (losses.DAMAGED, "1 damaged (wrong bits)"),
    (losses.WIPED, "1 wiped (zeros or ones instead)"),
    (losses.OVERWRITTEN, "1 overwritten (something else instead)"),
    (losses.NOT_FOUND, "1 not found (the place is not known)"),
    ("of a reason that is new", "1 of a reason that is new"),
])  # fmt: skip
def test_a_block_lost_in_flight_is_told_with_its_reason_time_and_height(holed, reason, words):
    text = told(holed, lost(20, 20, 298, 302, reason))
    assert body(text) == FOUND + f"Lost              1 block, 1.0 %: {words}\n" + WHEN + BESIDE_CARD


def test_the_times_and_heights_of_a_hole_are_those_of_the_flight(log, holed):
    # The plan's own equations: the last pressure sample before the hole is of 299.5 s, the next of 302 s.
    [hole] = find_holes([lost(20, 20, 298, 302, losses.DAMAGED)], decode_flight([holed]), SimpleNamespace(moments=None, timeline=None))
    truth = truth_of(PLAN)
    for edge, time_s in ((hole.begin, 299.5), (hole.end, 302.0)):
        utc_s = (edge.utc - np.datetime64(START_UTC_MS, "ms")) / np.timedelta64(1, "s")
        assert utc_s == pytest.approx(time_s, abs=0.3)  # a fix comes up to 0.3 s after its time
        assert edge.height_m == pytest.approx(truth.height_at(time_s), abs=5)  # a second's climb
    assert hole.seconds == 2.5 and hole.count == 1


def test_a_place_that_cannot_be_read_is_worth_another_copy(holed):
    unread = [WHOLE, Range(512, 4096, UNREADABLE)]
    text = told(holed, lost(20, 20, 298, 302, losses.NOT_READABLE), ranges=unread)
    assert body(text) == FOUND + (
        "Lost              1 block, 1.0 %: 1 in places that could not be read\n" + WHEN +
        """\
Not read          4 096 bytes of card.img
What to do        Copy the card again with loftbook card: what fails once may be
                  read the next time. Give loftbook recover another source
                  beside this: a second copy of the card, or what was heard on
                  the ground.
"""
    )


def test_a_torn_last_write_is_the_usual_end(log):
    text = told(hole_in(log, (700, 2000)), lost(350, 350, 698, None, losses.TORN))
    assert body(text) == FOUND + """\
Lost              1 block, 1.0 %: 1 torn (the last write did not end)
When              2026-05-09 08:11:39 UTC, 9 min 39 s after launch
Heights           near 720 m
Without data      2.0 s of 11 min 40 s, all of it in flight
What to do        Nothing: the write that is under way when the power goes is
                  lost as a rule.
"""


def test_gaps_in_the_link_are_packets(holed):
    text = told(holed, lost(20, 25, 299, 302, losses.LINK_GAP, "packet"), ranges=[HEARD])
    assert body(text) == (
        FOUND.replace("blocks", "packets") +
        "Lost              6 packets, 6.0 %: 6 not heard (gaps in the link)\n" + WHEN + BESIDE_LINK
    )


def test_several_holes_are_summed_and_the_longest_is_named(log):
    text = told(
        hole_in(log, (100, 104), (300, 310)),
        lost(50, 51, 98, 104, losses.WIPED),
        lost(150, 153, 298, 310, losses.DAMAGED), lost(154, 154, 298, 310, losses.WIPED),
    )  # fmt: skip
    assert body(text) == FOUND + """\
Lost              7 blocks, 7.0 %: 4 damaged (wrong bits), 3 wiped (zeros or
                  ones instead)
When              2026-05-09 08:01:39 to 08:05:10 UTC, 20.5 s before to 3 min
                  10 s after launch
Heights           between 100 and 1 080 m
Longest hole      10.5 s from 2026-05-09 08:04:59 UTC, 2 min 59 s after launch,
                  height between 1 020 and 1 080 m
Without data      15.0 s of 15 min 26 s, 10.5 s of it in flight
""" + BESIDE_CARD


def test_the_lost_beginning_of_a_boot_is_counted_from_its_start(log):
    text = told(hole_in(log, (0, 60)), lost(0, 29, None, 60, losses.NOT_FOUND))
    assert "When              2026-05-09 08:00:00 to 08:01:00 UTC, 2 min 0 s to 1 min 0 s\n" in text
    assert "Without data      1 min 0 s of 14 min 26 s, none of it in flight\n" in text


def test_without_a_clock_and_heights_the_account_says_so():
    air = boot_log({"air": records_of("air", np.arange(0, 100_000, 500))})
    text = told(hole_in(air, (40, 44)), lost(20, 21, 38, 44, losses.DAMAGED))
    assert body(text) == FOUND + """\
Lost              2 blocks, 2.0 %: 2 damaged (wrong bits)
When              39.5 s into boot 1 to 44.0 s into boot 1
Heights           not known
Without data      4.5 s of 1 min 40 s
""" + BESIDE_CARD


def test_a_hole_that_packets_bridge_is_only_as_long_as_it_is_without_records(log):
    bridged = hole_in(log, (300, 300.4), (300.6, 302))  # of another carrier, one record
    assert "Without data      1.5 s of " in told(bridged, lost(20, 20, 298, 302, losses.DAMAGED))


def test_what_another_flight_lost_is_not_told(log):
    assert told(log, lost(3, 9, 1, 2, losses.WIPED, flight="ffffffff")).startswith("Nothing of flight")


def test_what_could_not_be_read_to_its_end_is_told_with_nothing_else_lost(log):
    cut = Coverage("card.img.gz", 512, [WHOLE, Range(512, 0, UNREADABLE)], {CUT_OFF: "ends in the middle"})
    assert body(told(log, sources=[cut])) == FOUND + """\
Not read          the rest of card.img.gz, which ends in the middle
What to do        Copy or compress the source again, if the original is still
                  there: this file is not whole. Give loftbook recover another
                  source beside this: a second copy of the card, or what was
                  heard on the ground.
"""


def test_a_damaged_place_without_a_missing_number_is_told(log):
    text = told(log, ranges=[WHOLE, Range(512, 512, BLOCK_DAMAGED)])
    assert "Damaged           1 place more where a block may have stood, though no number is\n" in text


def test_what_another_source_holds_whole_is_not_lost(log):
    good = Coverage("a.img", 512, [WHOLE])
    bad = Coverage("b.img", 1024, [
        Range(0, 512, BLOCK_DAMAGED, {MADE_GOOD: "a.img"}), Range(512, 512, UNREADABLE, {MADE_GOOD: "a.img"}),
    ])  # fmt: skip
    assert told(log, sources=[good, bad]).startswith("Nothing of flight")


def test_records_of_unknown_size_are_told(log):
    cut_short = boot_log(log.records)
    cut_short.unreadable_records = 2
    assert "Cut short         2 blocks, from a record of unknown size on\n" in told(cut_short)


@pytest.mark.parametrize("name", ["\x1b[2J\nLost  nothing", "card" * 100])
def test_names_from_outside_stay_in_their_line(holed, name):
    bad = Coverage(name, 1024, [WHOLE, Range(512, 512, UNREADABLE)])
    text = told(holed, lost(20, 20, 298, 302, losses.NOT_READABLE), sources=[bad])
    assert all(len(line) <= 80 and line.isprintable() for line in text.splitlines())
    assert text.count("\n") <= 16


@pytest.mark.parametrize(("seconds", "words"), [
    (0.0, "0.0 s"), (5.94, "5.9 s"), (59.97, "1 min 0 s"), (60, "1 min 0 s"), (3599.6, "1 h 0 min 0 s"),
    (7384.2, "2 h 3 min 4 s"),
])  # fmt: skip
def test_lengths_of_time_are_plain(seconds, words):
    assert duration(seconds).replace("\u00a0", " ") == words
