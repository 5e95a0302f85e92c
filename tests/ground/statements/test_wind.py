"""Statements about the wind of made-up flights, whose wind is known: towards the east, 15 m/s at sea level and
1/20000 of that more each metre (made_flight.py), and of a real sounding flown by our logger.

Data: tests/data/soundings (ARM user facility, Lamont; see SOURCES.md there).
"""

import json
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from made_flight import Plan, keep, log_of, truth_of

from ground.analyse.winds import WindLayers
from ground.decode import decode_flight
from ground.statements import build_case, log_facts, wind
from ground.statements.wind import find_winds, point, statements

PLAN = Plan(burst_m=16_000.0)


def case_of(log):
    flight = decode_flight([log])
    return build_case(flight, log_facts(flight))


@lru_cache
def plain():
    return case_of(log_of(PLAN))


def wind_m_s(height_m):
    return PLAN.wind_m_s * (1 + height_m / 20_000.0)


@pytest.fixture(scope="module")
def said():
    return statements(plain())


def covers(statement, truth):
    return abs(statement["value"] - truth) <= statement["uncertainty"]


def test_layers_of_climb_and_fall_are_the_flights_wind(said):
    winds = find_winds(plain())
    for layers in (winds.climb, winds.fall, winds.fine_climb):
        assert len(layers) > 25
        off = np.abs([layers.east_m_s - wind_m_s(layers.middle_m), layers.north_m_s])
        assert (off <= layers.uncertainty_m_s).mean() > 0.95
    # The payload of this flight follows the wind at once; a real one lags behind in a fast fall: that is less sure.
    assert winds.fall.uncertainty_m_s[-2] > winds.climb.uncertainty_m_s[-2]
    table = said["wind_layers"]["table"]
    assert len(table["rows"]) == said["wind_layers"]["value"]
    named = dict(zip([name for name, _ in table["columns"]], table["rows"][10], strict=True))
    assert named["climb from"] == pytest.approx(270.0, abs=3.0)  # to the east is from the west
    assert named["climb speed"] == pytest.approx(wind_m_s(named["bottom"] + 250.0), abs=1.0)


def test_values_cover_what_was_flown(said):
    assert covers(said["greatest_ground_speed"], wind_m_s(16_000.0))
    assert covers(said["strongest_wind"], wind_m_s(16_000.0))
    assert covers(said["surface_wind"], wind_m_s(170.0))
    assert covers(said["wind_shear"], PLAN.wind_m_s / 20.0)  # m/s per km
    for key in ("greatest_ground_speed", "strongest_wind", "surface_wind", "wind_shear"):
        assert said[key]["uncertainty"] < 0.12 * said[key]["value"] + 1.7
    assert "from the west" in said["strongest_wind"]["text"]
    assert "mph" in said["strongest_wind"]["text_imperial"]


def test_strongest_wind_and_jet_are_two_things(said):
    # The wind of this flight grows as far as it goes, so the strongest is known and a jet is not.
    assert said["strongest_wind"]["value"] > 25 and said["jet"]["value"] is None
    weak = statements(case_of(log_of(Plan(burst_m=16_000.0, wind_m_s=8.0))))["jet"]
    assert weak["value"] is None and weak["reason"] is None and "met no jet stream" in weak["text"]
    low = statements(case_of(log_of(Plan(burst_m=6_000.0))))["jet"]
    assert "only up to" in low["reason"]


def test_a_receiver_that_ends_at_12_km_gives_limits_and_no_false_certainty():
    said = statements(case_of(log_of(Plan(burst_m=20_000.0, ceiling_m=12_000.0))))
    for key in ("greatest_ground_speed", "strongest_wind"):
        assert "at least" in said[key]["text"] and said[key]["uncertainty"] is None and said[key]["caveats"]
        assert said[key]["value"] < wind_m_s(12_600.0)
    shear = said["wind_shear"]
    assert "Where the wind is known" in shear["text"] and shear["uncertainty"] is None
    assert "km of height are unknown" in shear["caveats"][-1]


def test_a_jet_is_as_strong_as_its_peak_and_not_as_its_thick_layer():
    # A peak of 1 m/s in 100 m on both sides of its axis at 9750 m: the mean of its layer is weaker by 1.25 m/s.
    def current(bottom_m, thickness_m, spread_m_s):
        bottom_m = np.asarray(bottom_m, float)
        middle_m = bottom_m + thickness_m / 2
        near_m = middle_m[:, None] + np.linspace(-0.5, 0.5, 51) * thickness_m
        speed = (45.0 - np.abs(near_m - 9750.0) / 100.0).mean(axis=1)
        nothing, spread = np.zeros_like(speed), np.full_like(speed, spread_m_s)
        columns = (bottom_m, bottom_m + thickness_m, middle_m, nothing, speed, nothing, spread, spread, spread + 5.0)
        return WindLayers(*columns, gust_m_s=0.5)

    coarse, fine = current(np.arange(5e3, 15e3, 500), 500, 0.2), current(np.arange(5e3, 15e3, 200), 200, 0.2)
    winds = replace(plain().once(find_winds), all=coarse, fine=fine, from_fall=np.zeros(len(coarse), bool))
    jet = wind._jet(plain(), winds)
    assert coarse.speed_m_s.max() < 44.0 and covers(jet, 45.0) and 44.0 < jet["value"] and jet["uncertainty"] < 2.0


def test_what_a_garbled_receiver_says_is_not_the_greatest_speed():
    log = log_of(PLAN)
    fix = log.records["fix"].values
    fix["speed"][700:760] = 8_000  # 80 m/s for a minute, which the places do not show
    fix["latitude"][1500::37] += 5_000_000 // 100  # a kilometre
    assert covers(statements(case_of(log))["greatest_ground_speed"], wind_m_s(16_000.0))


def test_without_fixes_it_says_why():
    log = keep(log_of(PLAN), "fix", lambda t: t < 0)
    for key, statement in statements(case_of(log)).items():
        assert statement["value"] is None and statement["reason"], key


def test_a_hole_in_the_climb_is_seen_in_the_fall():
    climb_s = (truth_of(PLAN).launch_s + 600.0, truth_of(PLAN).launch_s + 1500.0)
    log = keep(log_of(PLAN), "fix", lambda t: (t < climb_s[0]) | (t > climb_s[1]))
    case = case_of(log)
    winds = case.once(find_winds)
    assert winds.from_fall.any() and not winds.from_fall.all()
    assert covers(statements(case)["strongest_wind"], wind_m_s(16_000.0))


def test_statements_are_plain_json_with_a_text_each(said):
    json.dumps(said, allow_nan=False)
    for statement in said.values():
        assert statement["text"] and statement["text_imperial"]


def test_points_of_the_compass():
    assert [point(a) for a in (0.0, 22.0, 23.0, 270.0, 359.0)] == ["north", "north", "north-east", "west", "north"]
