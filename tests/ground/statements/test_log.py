"""Statements about the log: gaps, resets, samples, clock."""

from dataclasses import replace

import numpy as np
import pytest
from made_flight import Plan, keep, keep_all, log_of, recovered_of, truth_of

from ground.decode import decode_flight
from ground.statements import log as logs
from ground.statements.case import build_case
from ground.statements.log import BootFacts, log_facts

PLAN = Plan(burst_m=9000.0, drift_ppm=40.0)
TRUTH = truth_of(PLAN)


def told(*boots, losses=()):
    flight = decode_flight(list(boots))
    facts = log_facts(flight, recovered_of(boots).ledger)
    facts.losses = list(losses)
    case = build_case(flight, facts)
    return case, logs.statements(case)


def test_gaps_are_found_by_kind_with_their_time_and_height():
    gap_s, all_s = (1000.0, 1100.0), (2000.0, 2040.0)
    log = keep(log_of(PLAN), "air", lambda t: (t < gap_s[0]) | (t > gap_s[1]))
    log = keep_all(log, lambda t: (t < all_s[0]) | (t > all_s[1]))
    case, made = told(log)
    gaps = made["data_gaps"]
    assert gaps["value"] == pytest.approx(40.0, abs=gaps["uncertainty"])
    rows = {row[0]: row for row in gaps["table"]["rows"]}
    assert rows["air"][2] == 2 and rows["pressure"][2] == 1
    assert rows["air"][3] == pytest.approx(100.0, abs=2.1)
    assert rows["air"][5] == pytest.approx(gap_s[0] - TRUTH.launch_s, abs=2.5)
    assert rows["air"][6] == pytest.approx(TRUTH.landing_s - gap_s[0], abs=4.0)
    assert rows["air"][7] == pytest.approx(TRUTH.height_at(gap_s[0]), abs=25.0)
    samples = {row[0]: row for row in made["sensors_logged"]["table"]["rows"]}
    flying_s = TRUTH.landing_s - TRUTH.launch_s
    assert samples["air.temperature_degC"][4] == pytest.approx(100 * (1 - 140 / flying_s), abs=0.2)
    assert made["sensors_logged"]["value"] == min(row[4] for row in samples.values())
    found = case.once(logs.find_gaps)
    assert [gap.kind for gap in found.gaps if gap.length_s > 90] == ["air"]


def test_lost_blocks_are_placed_in_time():
    loss = {"flight": "1a2b3c4d", "boot": 1, "envelope": "block", "first_number": 5, "last_number": 7,
            "tick_before_ms": 1_000_000, "tick_after_ms": None, "reason": "damaged"}  # fmt: skip
    case, made = told(log_of(PLAN), losses=[loss])
    lost, = case.once(logs.find_gaps).lost
    # A tick of the fast clock is 1000 s / (1 + 40 ppm), seen 0.12 to 0.15 s early because of the receiver's delay.
    assert lost.start_s == pytest.approx(1000.0 - 0.04 - 0.135 - TRUTH.launch_s, abs=1.0) and lost.end_s is None
    assert lost.count == 3 and made["data_gaps"]["evidence"][1]["samples"] == 3


def test_resets_are_told_with_time_and_height():
    first, second = log_of(PLAN, 0.0, 1500.0), log_of(PLAN, 1510.0, 2600.0, boot=2)
    third = log_of(PLAN, 2620.0, boot=3)
    case, made = told(first, second, third)
    resets = made["resets_in_flight"]
    assert resets["value"] == (2 if TRUTH.landing_s > 2620.0 else 1)
    row = resets["table"]["rows"][0]
    assert row[0] == 2 and row[1] == pytest.approx(1510.0 - TRUTH.launch_s, abs=1.0)
    assert row[2] == pytest.approx(TRUTH.height_at(1510.0), abs=25.0)
    assert "UTC" in resets["text"]


def test_the_clock_is_told_with_its_pieces_and_a_bound_for_utc():
    _, made = told(log_of(PLAN))
    drift, bound = made["clock_drift"], made["clock_error"]
    assert abs(drift["value"] - PLAN.drift_ppm) <= drift["uncertainty"] < 2.0
    assert drift["table"]["rows"][0][3] == pytest.approx(PLAN.drift_ppm, abs=1.0)
    # The made-up receiver speaks 0.12 to 0.15 s after its fix: the bound must hold that, and be of use.
    assert 0.15 < bound["value"] < 0.5


def test_few_fixes_tell_no_drift_but_a_bound():
    log = keep(log_of(PLAN), "fix", lambda t: t < 8.0)
    _, made = told(log)
    assert made["clock_drift"]["value"] is None and made["clock_error"]["value"] > 0.3


def test_facts_of_an_older_recovery_are_still_read():
    flight = decode_flight([log_of(PLAN)])
    old = log_facts(flight).boots_as_dicts()[0]
    for name in ("rates", "clock_pieces", "clock_uncertainty_ms"):
        del old[name]
    assert BootFacts(**old).clock_pieces == []


@pytest.mark.parametrize("last_s", [0.4, 3.0, 420.0])
def test_a_short_log_makes_no_trouble(last_s):
    _, made = told(log_of(PLAN, 0.0, last_s))
    assert made["data_gaps"]["value"] is None and made["data_gaps"]["reason"]
    assert np.isfinite(made["boots"]["value"])


def test_a_log_that_ends_in_the_air_tells_no_landing_and_a_lost_block_is_not_all():
    case, made = told(log_of(PLAN, last_s=1500.0))
    assert made["resets_in_flight"]["text"] == "The board ran without a reset from launch to the end of the log."
    case.log.boots[0].envelopes_found, case.log.boots[0].envelopes_expected = 9_999, 10_000
    recovered = logs.statements(case)["data_recovered"]
    assert recovered["text"].startswith("99.9 %") and recovered["value"] == pytest.approx(99.99)


def test_packets_that_were_not_heard_are_not_lost_with_a_whole_card():
    log = log_of(PLAN, last_s=300.0)
    blocks = replace(log, envelopes_found=200, envelopes_expected=200)
    both = replace(blocks, envelopes_found=290, envelopes_expected=320, packets_found=90, packets_expected=120)
    _, made = told(both)
    assert made["data_recovered"]["value"] == 100.0
    assert [(part["what"], part["samples"]) for part in made["data_recovered"]["evidence"]][-1] == ("link", 120)
    # Of what was heard alone, the packets count.
    _, made = told(replace(log, envelopes_found=90, envelopes_expected=120, packets_found=90, packets_expected=120))
    assert made["data_recovered"]["value"] == 75.0
