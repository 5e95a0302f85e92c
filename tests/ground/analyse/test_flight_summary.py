"""The summary's statements, their evidence and their words."""

import json
import re

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from made_flight import (
    OWN,
    START_UTC_MS,
    Plan,
    boot_log,
    keep,
    keep_all,
    log_of,
    records_of,
    recovered_of,
    truth_of,
)

from ground.statements import summarise
from ground.decode import decode_flight
from ground.recover.result import KindRecords
from protocol.table import DEVICES, event_code

PLAN = Plan(burst_m=16_000.0, wind_m_s=20.0, warmer_k=4.0)


def summary_of(*logs):
    return summarise(decode_flight(list(logs)), recovered_of(logs))


@pytest.fixture(scope="module")
def summary():
    return summary_of(log_of(PLAN))


def value(summary, key):
    return summary["statements"][key]["value"]


def test_the_distance_is_that_of_another_librarys_geodesic(summary):
    # geographiclib (C. F. F. Karney) between the true places of launch and landing.
    truth = truth_of(PLAN)
    line = Geodesic.WGS84.Inverse(*truth.place_at(truth.launch_s), *truth.place_at(truth.landing_s))
    assert value(summary, "distance") * 1000 == pytest.approx(line["s12"], abs=10)
    assert value(summary, "bearing") == pytest.approx(line["azi1"] % 360, abs=0.05)


def test_climb_duration_and_extremes_are_those_of_the_flight(summary):
    truth = truth_of(PLAN)
    climbed_s, climbed_m = truth.burst_s - truth.launch_s, PLAN.burst_m - PLAN.ground_m
    assert value(summary, "climb_rate") == pytest.approx(climbed_m / climbed_s, rel=0.02)
    assert value(summary, "duration") == pytest.approx(truth.landing_s - truth.launch_s, abs=2)
    assert value(summary, "greatest_height") == pytest.approx(PLAN.burst_m, abs=10)
    # The wind of the made-up flight grows with height by 1/20000 m.
    assert value(summary, "greatest_ground_speed") == pytest.approx(20.0 * (1 + 16_000 / 20_000), abs=0.1)
    rates = np.gradient(truth.height_m, truth.time_s)
    assert value(summary, "greatest_fall_speed") == pytest.approx(-rates.min(), rel=0.04)
    # ISO 2533: 216.65 K from 11 to 20 km, here with 4 K more.
    assert value(summary, "coldest_air") == pytest.approx(216.65 + 4.0 - 273.15, abs=0.1)
    assert summary["statements"]["coldest_air"]["height_m"] > 10_900


def test_the_clock_drift_is_stated_with_its_fixes(summary):
    drift = summary["statements"]["clock_drift"]
    assert drift["value"] == pytest.approx(PLAN.drift_ppm, abs=0.3)
    assert drift["evidence"][0]["samples"] == summary["records"]["fix"]


def test_what_the_receiver_says_of_vertical_speed_is_preferred():
    log = log_of(PLAN)
    truth, fix = truth_of(PLAN), log.records["fix"]
    t = fix.tick_ms / 1000 / (1 + PLAN.drift_ppm * 1e-6)
    rate = np.interp(t, truth.time_s, np.gradient(truth.height_m, truth.time_s))
    fix.values["vertical_speed"] = np.rint(rate * 100)
    told = summary_of(log)["statements"]["greatest_fall_speed"]
    assert told["evidence"][0]["source"] == "fix.vertical_speed_m_s"
    assert told["value"] == pytest.approx(-rate.min(), abs=0.5)


def test_every_statement_has_an_answer_with_evidence_or_a_reason(summary):
    poor = summary_of(keep(log_of(PLAN, last_s=900.0), "air", lambda t: t < 0))
    for statements in (summary["statements"], poor["statements"]):
        for statement in statements.values():
            in_words = statement["value"] is None and statement["reason"] is None
            assert in_words or (statement["value"] is None) == (statement["reason"] is not None)
            assert statement["evidence"] or statement["reason"]
            assert statement["text"].endswith(".") and statement["text_imperial"].endswith(".")
            assert statement["confidence"] == "cannot tell" or statement["reason"] is None
    assert poor["statements"]["coldest_air"]["reason"] == "no air temperature in the data"


def test_metric_values_have_their_imperial_twins(summary):
    # NIST SP 811: 1 ft = 0.3048 m, 1 mi = 1609.344 m, 1 mph = 0.44704 m/s.
    said = summary["statements"]
    assert said["launch"]["imperial_value"] == pytest.approx(said["launch"]["value"] / 0.3048, abs=1e-3)
    assert said["distance"]["imperial_value"] == pytest.approx(said["distance"]["value"] / 1.609344, abs=1e-3)
    assert said["climb_rate"]["imperial_unit"] == "ft/min"
    assert said["climb_rate"]["imperial_value"] == pytest.approx(
        said["climb_rate"]["value"] / 0.00508, abs=0.1
    )
    speed = said["greatest_ground_speed"]
    assert speed["imperial_value"] == pytest.approx(speed["value"] / 0.44704, abs=1e-3)
    cold = said["coldest_air"]
    assert cold["imperial_value"] == pytest.approx(cold["value"] * 9 / 5 + 32, abs=1e-3)


def test_the_text_fits_a_terminal_and_names_both_systems(summary):
    for text in (summary.text(), summary.text(evidence=True)):
        assert max(len(line) for line in text.splitlines()) <= 80
    text = summary.text()
    launch_s = START_UTC_MS // 1000 % 86400 + truth_of(PLAN).launch_s
    clock = f"{launch_s // 3600:02.0f}:{launch_s % 3600 // 60:02.0f}:{launch_s % 60:02.0f}"
    assert re.search(rf"^Launch +2026-05-09 {clock} UTC, at 95 m \(31\d ft\)$", text, re.M)
    for unit in ("ft/min", "mph", "degF", "mi)"):
        assert unit in text


def test_a_name_with_control_characters_cannot_reach_the_terminal():
    log = log_of(PLAN, last_s=30.0)
    log.manifest.payload = "Napra\x1b[2Jforgo"
    assert "\x1b" not in summary_of(log).text()


def test_troubles_that_the_board_logged_are_noted():
    code = [event_code("device failed"), event_code("device failed"), event_code("booted")]
    event = records_of("event", [1, 2, 3], code=code, subject=DEVICES.index("gnss"), detail=0)
    notes = summary_of(boot_log({"event": event}))["notes"]
    assert "the board logged 2 times: device failed (gnss)" in notes
    assert not any("booted" in note for note in notes)


def test_a_share_below_all_is_never_rounded_up_to_all():
    log = boot_log({})
    log.envelopes_found, log.envelopes_expected = 99_999, 100_000
    assert "99.9 % of the 100000" in summary_of(log).text()


def test_speeds_above_the_receivers_ceiling_are_not_claimed_for_the_whole_flight():
    said = summary_of(log_of(Plan(burst_m=24_000.0, ceiling_m=12_000.0)))
    assert said["statements"]["greatest_ground_speed"]["coverage_percent"] < 60
    assert re.search(r"Top ground speed.*cover\s+\d\d %", said.text(), re.S)


def test_the_drive_home_is_not_the_fastest_drift():
    log = log_of(PLAN)
    fix = log.records["fix"].values
    fix["speed"][-200:] = 13_000
    assert value(summary_of(log), "greatest_ground_speed") < 40


def test_the_drive_home_is_not_the_fastest_drift_even_if_the_landing_was_not_seen():
    landing_s = truth_of(PLAN).landing_s
    log = keep_all(log_of(PLAN), lambda t: np.abs(t - landing_s) > 130)
    log.records["fix"].values["speed"][-150:] = 13_000
    said = summary_of(log)
    assert said["statements"]["landing"]["reason"] and value(said, "greatest_ground_speed") < 40


def test_an_empty_log_says_that_it_is_empty():
    said = summary_of(boot_log({}, manifest=False))
    assert said["statements"]["launch"]["reason"] == "there are no heights in the data"
    assert said.text()


WILD = {
    kind: [(f.name, np.iinfo(OWN[kind].dtype[f.name])) for f in OWN[kind].fields]
    for kind in ("pressure", "air", "fix")
}


@st.composite
def wild_records(draw, kind):
    """Records with any stored values at any times."""
    rows = draw(st.integers(0, 40))
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    reach = draw(st.sampled_from([1000, 100_000, 2**40]))
    tick_ms = np.sort(rng.integers(0, reach, rows))
    values = np.zeros(rows, OWN[kind].dtype)
    for name, info in WILD[kind]:
        style = draw(st.sampled_from(["any", "one", "missing", "small"]))
        if style == "any":
            values[name] = rng.integers(info.min, info.max, rows, endpoint=True)
        elif style == "small":
            values[name] = rng.integers(0, min(info.max, 2000), rows)
        else:
            values[name] = info.max if style == "missing" else 1
    return KindRecords(OWN[kind], tick_ms, values)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.fixed_dictionaries({}, optional={kind: wild_records(kind) for kind in WILD}), max_size=3))
def test_no_content_of_the_records_breaks_the_summary(boots):
    logs = [boot_log(records, boot=number + 1) for number, records in enumerate(boots)] or [boot_log({})]
    said = summary_of(*logs)
    json.dumps(said, allow_nan=False)
    assert max(len(line) for line in said.text(evidence=True).splitlines()) <= 80


def test_records_of_one_sample_are_no_trouble():
    said = summary_of(
        boot_log(
            {"pressure": records_of("pressure", [5], pressure_counts=9085466, temperature_counts=8569150)}
        )
    )
    assert value(said, "greatest_height") == pytest.approx(110, abs=1)
