"""What is said of the fall, on made-up flights whose truth is known."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_flight import START_UTC_MS, Plan, garbled, keep, keep_all, log_of, truth_of

from ground.decode import decode_flight
from ground.mission import load_mission
from ground.statements import fall
from ground.statements.case import build_case

ROOT = Path(__file__).resolve().parents[3]
PLAN = Plan(burst_m=16_000.0, warmer_k=0.0, wait_s=300.0, rest_s=300.0)
# The plan falls at 5.5 m/s in air of 1.225 kg/m3 (ISO 2533, sea level): the drag equation gives the rest.
BALLISTIC = 0.5 * 1.225 * 5.5**2 / 9.80665
MASS_KG = 0.85
IDS = ["greatest_fall_speed", "fall_curve", "ballistic_coefficient", "drag_area", "canopy", "landing_speed"]


def mission_of(drag_area_m2):
    mission = load_mission(ROOT / "onboard" / "simulator" / "napraforgo-1.toml")
    return replace(
        mission, payload=replace(mission.payload, mass_kg=MASS_KG),
        parachute=replace(mission.parachute, drag_area_m2=drag_area_m2),
    )  # fmt: skip


def said_of(log, planned_m2=MASS_KG / BALLISTIC):
    mission = None if planned_m2 is None else mission_of(planned_m2)
    return fall.statements(build_case(decode_flight([log]), None, mission))


@pytest.fixture(scope="module")
def plain():
    return said_of(log_of(PLAN))


def holds(said, truth):
    return abs(said["value"] - truth) <= said["uncertainty"]


def test_every_statement_has_span_and_evidence(plain):
    assert list(plain) == IDS
    for key, said in plain.items():
        assert said["reason"] is None and said["evidence"] and said["from_s"] is not None, key
        assert (said["uncertainty"] or 0) > 0 or key == "canopy", key
        assert "unknown" not in said["text"] and " m/s" not in said["text_imperial"], key


def test_speeds_and_drag_are_covered_and_narrow(plain):
    truth = truth_of(PLAN)
    rates = -np.gradient(truth.height_m, truth.time_s)
    falling = (truth.time_s > truth.burst_s) & (truth.time_s < truth.landing_s - 1.0)
    assert holds(plain["greatest_fall_speed"], rates[falling].max())
    assert holds(plain["ballistic_coefficient"], BALLISTIC) and plain["ballistic_coefficient"]["uncertainty"] < 0.15
    assert holds(plain["drag_area"], MASS_KG / BALLISTIC)
    last = falling & (truth.height_m < PLAN.landing_m + 100.0)
    assert holds(plain["landing_speed"], rates[last].mean()) and plain["landing_speed"]["uncertainty"] < 1.0
    assert plain["canopy"]["text"].startswith("The parachute was good")


def test_the_table_has_measured_and_expected_speeds(plain):
    truth = truth_of(PLAN)
    names = [name for name, _ in plain["fall_curve"]["table"]["columns"]]
    assert names == ["bottom", "top", "fall speed", "uncertainty", "expected at one drag area", "samples"]
    rows = plain["fall_curve"]["table"]["rows"][:-1]
    falling = truth.time_s > truth.burst_s
    height_m, time_s = truth.height_m[falling], truth.time_s[falling]
    for bottom_m, top_m, speed, uncertainty, expected, _ in rows:
        crossed_s = np.interp([-top_m, -max(bottom_m, PLAN.landing_m + 1)], -height_m, time_s)
        mean = (top_m - max(bottom_m, PLAN.landing_m + 1)) / np.diff(crossed_s)[0]
        assert abs(speed - mean) <= uncertainty + 0.05 and expected == pytest.approx(mean, rel=0.04)


@pytest.mark.parametrize("share, word", [(1.0, "good"), (0.25, "tangled or closed"), (0.5, "tangled or closed")])
def test_the_canopy_is_judged_by_the_missions(share, word):
    said = said_of(log_of(PLAN), MASS_KG / BALLISTIC / share)
    assert f"varied by {said['canopy']['value']:.0f} %" in said["canopy"]["text"]  # the text says what the value is
    assert f"parachute was {word}" in said["canopy"]["text"] and f"{100 * share:.0f}"[0] in said["canopy"]["text"]


def test_an_absurd_plan_is_told_in_words_that_fit():
    small, large = (said_of(log_of(PLAN), area_m2)["canopy"]["text"] for area_m2 in (1e-3, 1e3))
    assert "times what was planned" in small and "was good" not in small
    assert "less than 1 % of what was planned" in large


def test_without_a_mission_only_the_ratio_is_known():
    said = said_of(log_of(PLAN), None)
    assert said["drag_area"]["reason"] and holds(said["ballistic_coefficient"], BALLISTIC)
    assert "nobody can tell" in said["canopy"]["text"] and said["canopy"]["confidence"] == "cannot tell"


def test_without_fixes_or_without_thermometer_it_is_less_sure_and_still_right(plain):
    truth = truth_of(PLAN)
    rates = -np.gradient(truth.height_m, truth.time_s)
    top = rates[(truth.time_s > truth.burst_s) & (truth.time_s < truth.landing_s - 1.0)].max()
    for log in (
        keep(log_of(PLAN), "fix", lambda t: t < 0), keep(log_of(PLAN), "air", lambda t: t < 1000.0),
        keep(log_of(PLAN), "pressure", lambda t: t < 0), garbled(log_of(PLAN), 0.1),
    ):  # fmt: skip
        said = said_of(log)
        assert holds(said["drag_area"], MASS_KG / BALLISTIC) and holds(said["greatest_fall_speed"], top)
        assert said["drag_area"]["uncertainty"] >= 0.8 * plain["drag_area"]["uncertainty"]
        assert said["canopy"]["text"].startswith("The parachute was good")


def test_a_leaking_balloon_is_no_parachute():
    said = said_of(log_of(Plan(burst_m=12_000.0, leak_m_s=2.5, wait_s=300.0)))
    for key in ("canopy", "drag_area", "ballistic_coefficient"):
        assert "not under the parachute" in said[key]["reason"]
    assert said["landing_speed"]["value"] == pytest.approx(2.5, abs=0.3)
    assert "It sank" in said["fall_curve"]["text"] and "It sank" in said["greatest_fall_speed"]["text"]


def test_a_float_or_a_cut_line_does_not_hide_the_parachute():
    for plan in (replace(PLAN, float_s=900.0), replace(PLAN, cut=True)):
        case = build_case(decode_flight([log_of(plan)]), None, mission_of(MASS_KG / BALLISTIC))
        said, found = fall.statements(case), fall.find_fall(case)
        assert holds(said["drag_area"], MASS_KG / BALLISTIC) and "was good" in said["canopy"]["text"]
        assert found.start_s == case.moments.climb_end.fall_s
        begins_s = np.datetime64(said["fall_curve"]["from_utc"][:-1], "ms").astype(np.int64) / 1000
        assert begins_s - START_UTC_MS / 1000 == pytest.approx(truth_of(plan).burst_s, abs=8.0)


def test_what_lies_in_a_gap_is_not_invented():
    truth = truth_of(PLAN)
    hidden = said_of(keep_all(log_of(PLAN), lambda t: np.abs(t - truth.burst_s - 10.0) > 60.0))
    assert "gap" in hidden["greatest_fall_speed"]["reason"] and holds(hidden["drag_area"], MASS_KG / BALLISTIC)
    floated = replace(PLAN, burst_m=5000.0, float_s=900.0)
    gone = said_of(keep_all(log_of(floated), lambda t: np.abs(t - truth_of(floated).burst_s) > 60.0))
    assert "gap" in gone["greatest_fall_speed"]["reason"] and holds(gone["drag_area"], MASS_KG / BALLISTIC)
    high = said_of(keep_all(log_of(PLAN), lambda t: t < truth.burst_s + 600.0), None)
    assert "as far down as the data go" in high["canopy"]["text"]
    assert high["landing_speed"]["value"] is None and high["fall_curve"]["value"] > 0


def test_no_fall_is_said_to_be_none():
    said = said_of(log_of(PLAN, last_s=truth_of(PLAN).burst_s - 100.0))
    assert list(said) == IDS and all(made["reason"] for made in said.values())
