"""What is said of the climb, on made-up flights whose truth is known."""

import re

import numpy as np
import pytest
from made_flight import Plan, boot_log, garbled, keep, keep_all, log_of, truth_of

from ground.decode import decode_flight
from ground.statements import climb
from ground.statements.case import build_case

PLAN = Plan(burst_m=9000.0)
IDS = ["greatest_height", "climb_rate", "climb_steadiness", "fastest_climb", "slowest_climb"]


def case_of(log):
    return build_case(decode_flight([log]), None)


def said_of(log):
    return climb.statements(case_of(log))


def mean_rate(plan):
    truth = truth_of(plan)
    return (plan.burst_m - plan.ground_m) / (truth.burst_s - truth.launch_s)


@pytest.fixture(scope="module")
def plain():
    return case_of(log_of(PLAN))


def test_every_statement_has_uncertainty_span_and_evidence(plain):
    made = climb.statements(plain)
    assert list(made) == IDS
    for key, said in made.items():
        assert said["reason"] is None and said["evidence"] and said["from_s"] is not None, key
        assert said["uncertainty"] > 0 and said["samples"] > 10, key
        assert "unknown" not in said["text"] and " m/s" not in said["text_imperial"], key
    assert "ft/min" in made["climb_rate"]["text_imperial"]


def test_rate_and_height_are_covered(plain):
    made = climb.statements(plain)
    assert abs(made["climb_rate"]["value"] - mean_rate(PLAN)) <= made["climb_rate"]["uncertainty"] < 0.03
    assert abs(made["greatest_height"]["value"] - PLAN.burst_m) <= made["greatest_height"]["uncertainty"] < 20


def test_the_table_has_the_mean_rate_of_each_band(plain):
    truth = truth_of(PLAN)
    made = climb.statements(plain)["climb_steadiness"]
    names = [name for name, _ in made["table"]["columns"]]
    assert names == ["bottom", "top", "climb rate", "uncertainty", "samples"]
    rising = truth.time_s <= truth.burst_s
    covered = []
    for bottom_m, top_m, rate, uncertainty, _ in made["table"]["rows"]:
        crossed_s = [
            truth.time_s[np.argmax(rising & (truth.height_m >= h))] for h in (bottom_m + 1.0, top_m - 15.0)
        ]
        mean = (top_m - bottom_m - 16.0) / (crossed_s[1] - crossed_s[0])
        covered.append(abs(rate - mean) <= uncertainty + 0.02)
    assert np.mean(covered) >= 0.75 and len(covered) >= 4
    # The made-up rate swings by 8 % to both sides.
    assert re.match("The climb was (very|quite) steady", made["text"]) and "2 000 m" in made["text"]


def test_fastest_and_slowest_band_are_the_tables(plain):
    made = climb.statements(plain)
    rates = [row[2] for row in made["climb_steadiness"]["table"]["rows"]]
    assert made["fastest_climb"]["value"] == pytest.approx(max(rates), abs=1e-3)
    assert made["slowest_climb"]["value"] == pytest.approx(min(rates), abs=1e-3)


def test_without_any_fix_pressure_and_thermometer_still_give_the_rate():
    cold = Plan(burst_m=9000.0, warmer_k=-15.0)
    made = said_of(keep(log_of(cold), "fix", lambda t: t < 0))
    rate, height = made["climb_rate"], made["greatest_height"]
    assert abs(rate["value"] - mean_rate(cold)) <= rate["uncertainty"] < 0.1 * rate["value"]
    assert abs(height["value"] - cold.burst_m) <= height["uncertainty"]
    # 15 K of 255 K are 6 %: heights of the standard atmosphere alone would be as wrong as that.
    assert rate["value"] == pytest.approx(mean_rate(cold), rel=0.02) and rate["caveats"]
    bare = said_of(keep(keep(log_of(cold), "fix", lambda t: t < 0), "air", lambda t: t < 0))["climb_rate"]
    assert abs(bare["value"] - mean_rate(cold)) <= bare["uncertainty"] and climb.BY_PRESSURE in bare["caveats"]


def test_a_float_is_left_out_and_named():
    case = case_of(log_of(Plan(burst_m=9000.0, float_s=1500.0)))
    made, ended = climb.statements(case)["climb_rate"], case.moments.climb_end
    assert abs(made["value"] - mean_rate(PLAN)) <= made["uncertainty"] < 0.25
    assert "Until it stayed" in made["text"] and climb.FLOATED in made["caveats"]
    assert climb.find_climb(case).end_s == ended.float_start_s
    assert made["to_s"] == pytest.approx(case.since_launch_s(ended.float_start_s), abs=0.01)


def test_wrong_fixes_are_not_believed():
    made = said_of(garbled(log_of(PLAN), 0.1))
    assert abs(made["climb_rate"]["value"] - mean_rate(PLAN)) <= made["climb_rate"]["uncertainty"] + 0.01
    assert made["greatest_height"]["value"] == pytest.approx(PLAN.burst_m, abs=20)


def test_a_gap_costs_bands_not_the_mean():
    made = said_of(keep_all(log_of(PLAN), lambda t: (t < 900.0) | (t > 1500.0)))
    assert abs(made["climb_rate"]["value"] - mean_rate(PLAN)) <= made["climb_rate"]["uncertainty"]
    assert made["climb_rate"]["coverage_percent"] < 80
    rows = made["climb_steadiness"]["table"]["rows"]
    assert any(row[2] is None for row in rows) and any(
        "not in the data" in line for line in made["climb_steadiness"]["caveats"]
    )


def test_a_log_that_ends_in_the_climb_says_that_it_may_have_been_higher():
    made = said_of(log_of(PLAN, last_s=900.0))["greatest_height"]
    assert any("may have been higher" in line for line in made["caveats"])


def test_no_climb_is_said_to_be_none():
    for log in (boot_log({}), log_of(PLAN, last_s=300.0)):
        case = case_of(log)
        if case.timeline is not None:
            made = climb.statements(case)
            assert all(said["reason"] for key, said in made.items() if key != "greatest_height")
