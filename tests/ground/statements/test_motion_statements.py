"""The statements about motion, of made flights whose box spins, swings and is hit as we please."""

import numpy as np
import pytest
from made_flight import Plan, log_of, records_of, truth_of

from ground.decode import decode_flight
from ground.statements import motion as said
from ground.statements.case import build_case
from ground.statements.log import log_facts

G = 9.80665  # CGPM 1901, the standard acceleration of gravity
STEP_S = 0.1
PLAN = Plan(burst_m=5000.0, wait_s=200.0, rest_s=200.0)


def made_case(change=lambda time_s, force, rate: (force, rate), keep=lambda time_s: time_s >= 0):
    """A Case of a made flight whose box spins at 20 deg/s and swings 5 deg at 5 s."""
    truth, log = truth_of(PLAN), log_of(PLAN)
    time_s = np.arange(0.0, truth.time_s[-1], STEP_S)
    rng = np.random.default_rng(5)
    flying = (time_s > truth.launch_s) & (time_s < truth.landing_s)
    up = np.array([0.0, 0.0, 1.0])
    east = np.column_stack([np.cos(np.radians(20 * time_s)), -np.sin(np.radians(20 * time_s)), 0 * time_s])
    swing = 5.0 * 2 * np.pi / 5.0 * np.cos(2 * np.pi * time_s / 5.0)
    rate = np.where(flying, 20.0, 0.0)[:, None] * up + np.where(flying, swing, 0.0)[:, None] * east
    rate = rate + [2.0, -3.0, 1.0] + rng.normal(0, 0.05, rate.shape)
    force = G * up + rng.normal(0, 0.04, rate.shape)
    force[np.abs(time_s - truth.landing_s) < STEP_S / 2 + 1e-6] *= 6.0
    force, rate = change(time_s, force, rate)
    chosen = keep(time_s)
    counts = np.rint(np.column_stack([force / G * 2048, rate * 32768 / 2000])).clip(-32768, 32767)[chosen]
    names = [f"{quantity}_{axis}_counts" for quantity in ("acceleration", "rate") for axis in "xyz"]
    ticks = np.rint(time_s[chosen] * 1000 * (1 + PLAN.drift_ppm * 1e-6))
    log.records["motion"] = records_of("motion", ticks, **dict(zip(names, counts.T)))
    flight = decode_flight([log])
    return build_case(flight, log_facts(flight)), truth


def test_the_statements_cover_the_truth_and_name_its_limits():
    case, truth = made_case()
    made = said.statements(case)
    for key, true in (("spin", 20.0), ("swing", 5.0 / 2**0.5)):
        assert abs(made[key]["value"] - true) <= made[key]["uncertainty"] < 0.15 * true
    assert abs(made["swing"]["table"]["rows"][0][2] - 5.0) <= made["swing"]["table"]["rows"][0][3]
    assert made["landing_shock"]["value"] == pytest.approx(6.0, abs=0.2)
    assert "harder" in made["landing_shock"]["caveats"][0]
    # A blow of 6 g where the range is 16 g; the made flights' manifest says so.
    assert made["motion_range"]["value"] == pytest.approx(100 * 6.0 / 16.0, abs=0.5)
    blocks = case.once(said.find_motion).blocks
    climb = (blocks["time_s"] > truth.launch_s + 60) & (blocks["time_s"] < truth.burst_s - 60)
    assert np.abs(blocks["spin_deg_s"][climb] - 20.0).max() < 0.5
    assert np.abs(blocks["swing_deg"][climb] - 5.0 / 2**0.5).max() < 0.5


def test_what_cannot_be_told_has_a_reason():
    never_at_rest, truth = made_case(keep=lambda time_s: (time_s > 300) & (time_s < 900))
    made = said.statements(never_at_rest)
    assert made["spin"]["value"] is None and "rest" in made["spin"]["reason"]
    assert abs(made["swing"]["value"] - 5.0 / 2**0.5) <= made["swing"]["uncertainty"]
    assert made["swing"]["table"]["rows"][0][3] is None  # whose period, without the zero, is not known
    assert made["landing_shock"]["value"] is None and made["landing_shock"]["reason"]
    dead, _ = made_case(change=lambda time_s, force, rate: (0 * force + 1.0, 0 * rate))
    none, _ = made_case(keep=lambda time_s: time_s < 0)
    for case in (dead, none):
        for statement in said.statements(case).values():
            assert statement["value"] is None and statement["reason"]


def test_a_reading_at_the_end_of_the_range_is_seen_whatever_the_zero_is():
    def change(time_s, force, rate):
        return force, np.where(np.abs(time_s[:, None] - 500.0) < 0.01, 3000.0, rate + 20.0)

    made = said.statements(made_case(change)[0])["motion_range"]
    assert made["value"] == pytest.approx(100.0, abs=0.1) and made["text"].count("1 reading reached that end") == 1


def test_a_gap_where_the_fall_begins_is_no_free_fall_and_no_blow():
    burst_s = truth_of(PLAN).burst_s
    case, _ = made_case(keep=lambda time_s: np.abs(time_s - burst_s) > 8.0)
    made = said.statements(case)
    for key in ("burst_shock", "free_fall"):
        assert made[key]["value"] is None and "no readings" in made[key]["reason"]
    assert "at least" not in made["spin"]["text"]
    every_other, _ = made_case(keep=lambda time_s: time_s % 100.0 < 50.0)
    made = said.statements(every_other)
    assert 45.0 < made["spin"]["coverage_percent"] < 55.0 and "at least" in made["spin"]["text"]


def test_readings_too_seldom_for_a_blow_or_a_swing_say_so():
    made = said.statements(made_case(keep=lambda time_s: np.rint(time_s / STEP_S) % 20 == 0)[0])
    for key, why in (("burst_shock", "seldom"), ("free_fall", "less often"), ("swing", "less often")):
        assert made[key]["value"] is None and why in made[key]["reason"]
    assert abs(made["spin"]["value"] - 20.0) <= made["spin"]["uncertainty"]
    once, _ = made_case(keep=lambda time_s: (time_s < 100.0) | (np.abs(time_s - truth_of(PLAN).burst_s) < STEP_S / 2))
    assert said.statements(once)["burst_shock"]["reason"] == "a single reading is too seldom to catch a blow"
