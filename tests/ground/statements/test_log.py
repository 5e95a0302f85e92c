"""Statements about the log: gaps, resets, samples, clock."""

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
