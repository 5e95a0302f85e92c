"""What is said of release, end of the climb, burst and landing."""

import re

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from made_flight import START_UTC_MS, Plan, boot_log, keep, keep_all, log_of, records_of, truth_of

from ground.decode import decode_flight
from ground.statements import moments
from ground.statements.case import build_case

PLAIN = Plan(burst_m=5000.0, wait_s=300.0, rest_s=420.0)
IDS = [
    "launch", "climb_end", "float_time", "burst", "landing", "landing_place", "after_landing", "last_fix",
    "duration", "distance", "bearing",
]  # fmt: skip


def said_of(log):
    return moments.statements(build_case(decode_flight([log]), None))


@pytest.fixture(scope="module")
def plain():
    return said_of(log_of(PLAIN))


def test_every_statement_is_there_with_its_uncertainty_span_and_evidence(plain):
    assert list(plain) == IDS
    for key, made in plain.items():
        assert made["reason"] is None and made["evidence"] and made["from_s"] is not None, key
        assert key in ("landing_place", "float_time") or made["uncertainty"] > 0, key
        assert "{" not in made["text"] and "unknown" not in made["text"]


def test_the_numbers_hold_the_truth(plain):
    truth = truth_of(PLAIN)
    for key, true_s, true_m in (
        ("launch", truth.launch_s, PLAIN.ground_m), ("burst", truth.burst_s, PLAIN.burst_m),
        ("landing", truth.landing_s, PLAIN.landing_m), ("climb_end", truth.burst_s, PLAIN.burst_m),
    ):  # fmt: skip
        made = plain[key]
        when_s = (np.datetime64(made["utc"][:-1], "ms").astype(np.int64) - START_UTC_MS) / 1000
        assert abs(when_s - true_s) <= made["uncertainty_s"] and abs(made["value"] - true_m) <= made["uncertainty"]
    assert abs(plain["duration"]["value"] - (truth.landing_s - truth.launch_s)) <= plain["duration"]["uncertainty"]
    # geographiclib (C. F. F. Karney) between the true places.
    line = Geodesic.WGS84.Inverse(*truth.place_at(truth.launch_s), *truth.place_at(truth.landing_s))
    assert abs(plain["distance"]["value"] - line["s12"] / 1000) <= plain["distance"]["uncertainty"]
    assert abs(plain["bearing"]["value"] - line["azi1"] % 360) <= plain["bearing"]["uncertainty"]
    latitude, longitude, radius_m = plain["landing_place"]["table"]["rows"][0]
    away_m = Geodesic.WGS84.Inverse(latitude, longitude, *truth.place_at(truth.landing_s))["s12"]
    assert away_m <= radius_m < 20


def test_the_sentences_can_be_read_in_both_systems(plain):
    assert re.search(
        r"let go at \d\d:\d\d:\d\d UTC, give or take 1\.\d s, 95 m above the sea", plain["launch"]["text"]
    )
    # NIST SP 811: 1 ft = 0.3048 m.
    feet = round(plain["launch"]["value"] / 0.3048)
    assert f"{feet} ft above the sea" in plain["launch"]["text_imperial"]
    assert plain["float_time"]["value"] == 0.0 and plain["float_time"]["text"].startswith("It did not float")
    assert "in the east" in plain["bearing"]["text"] and "cut loose" in plain["climb_end"]["text"]


def test_what_heights_cannot_tell_is_a_caveat(plain):
    assert any("cut loose" in line for line in plain["climb_end"]["caveats"])
    assert plain["climb_end"]["confidence"] == "medium" and plain["launch"]["confidence"] == "high"


def test_without_fixes_heights_are_weather_and_places_are_not_told():
    said = said_of(keep(log_of(PLAIN), "fix", lambda t: t < 0))
    # The made-up air is 6 K warmer than the standard one; a real one can be far colder or warmer.
    assert 300 < said["burst"]["uncertainty"] < 800 and said["burst"]["caveats"]
    assert abs(said["burst"]["value"] - PLAIN.burst_m) < said["burst"]["uncertainty"]
    for key in ("landing_place", "after_landing", "distance", "bearing", "last_fix"):
        assert said[key]["value"] is None and said[key]["reason"]
    assert "boot 1" in said["launch"]["text"]


def test_a_float_is_told_with_its_band_and_never_as_a_burst():
    plan = Plan(burst_m=5000.0, wait_s=300.0, float_s=900.0)
    said = said_of(log_of(plan))
    assert said["burst"]["value"] is None and "float" in said["burst"]["reason"]
    assert abs(said["float_time"]["value"] - 900.0) <= said["float_time"]["uncertainty"]
    assert abs(said["climb_end"]["value"] - 5000.0) <= said["climb_end"]["uncertainty"] < 200.0
    _, _, lowest_m, highest_m = said["float_time"]["table"]["rows"][0]
    assert 4970 < lowest_m < highest_m < 5030  # 12 m to both sides of 5000 m, and the scatter of fixes


def test_ends_of_the_data_are_reasons():
    said = said_of(log_of(PLAIN, last_s=800.0))
    for key in ("climb_end", "burst", "landing", "landing_place", "after_landing", "duration", "distance"):
        assert said[key]["value"] is None and said[key]["reason"], key
    assert any("elsewhere" in line for line in said["last_fix"]["caveats"])


def test_after_a_landing_in_a_gap_the_ground_is_still_told():
    truth = truth_of(PLAIN)
    said = said_of(keep_all(log_of(PLAIN), lambda t: np.abs(t - truth.landing_s) > 100))
    assert "not known" in said["landing"]["text"] and "gap" in said["landing"]["text"]
    assert said["landing_place"]["caveats"]


def test_a_log_of_one_sample_is_no_trouble():
    one = records_of("pressure", [5], pressure_counts=9085466, temperature_counts=8569150)
    said = said_of(boot_log({"pressure": one}))
    assert list(said) == IDS and all(made["reason"] for made in said.values())
