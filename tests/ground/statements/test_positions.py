"""Statements about position sources, of made-up flights whose truth is known."""

from functools import lru_cache

import numpy as np
import pytest
from made_flight import START_UTC_MS, Plan, keep_all, log_of, records_of, recovered_of, truth_of

from ground.decode import decode_flight
from ground.physics.geodesy import move
from ground.statements import positions
from ground.statements.case import build_case
from ground.statements.log import log_facts
from ground.statements.statement import statement
from ground.tracks import Track

PLAN = Plan(burst_m=21_500.0, ceiling_m=12_000.0, seed=4)
TRUTH = truth_of(PLAN)


def case_of(log, tracks=()):
    flight = decode_flight([log])
    return build_case(flight, log_facts(flight, recovered_of([log]).ledger), None, tracks)


def track_of(name, every_s, hears, hours_ahead=0.0, north_m=8.0, notes=()):
    """A tracker that knows the true place, apart from north_m, and reports where hears(time, height) is true."""
    t = np.arange(0.0, TRUTH.time_s[-1], every_s)
    height = TRUTH.height_at(t)
    t, height = t[hears(t, height)], height[hears(t, height)]
    places = np.array([TRUTH.place_at(time_s) for time_s in t])
    latitude, longitude = move(places[:, 0], places[:, 1], 0.0, north_m)
    time_ms = START_UTC_MS + np.rint(t * 1000).astype(np.int64) + round(hours_ahead * 3_600_000)
    return Track(name, time_ms.astype("datetime64[ms]"), latitude, longitude, height + 20.0, tuple(notes))


@lru_cache
def told():
    network = track_of("Phone {network}", 60.0, lambda t, height: height < 3000.0)
    space = track_of("Satellite", 120.0, lambda t, height: np.ones(len(t), bool), hours_ahead=1.0)
    elsewhere = track_of("Elsewhere", 60.0, lambda t, height: t < 300.0, hours_ahead=-24.0)
    case = case_of(log_of(PLAN), (network, space, elsewhere))
    return case, positions.statements(case)


def seconds_at(low_m, high_m, first_s, last_s):
    inside = (TRUTH.time_s >= first_s) & (TRUTH.time_s < last_s)
    height = TRUTH.height_m[inside]
    return float(((height >= low_m) & (height < high_m)).sum() * 0.05)


def test_the_own_receivers_share_is_that_of_the_time_below_its_ceiling():
    _, made = told()
    own = made["gnss_coverage"]
    flying_s = TRUTH.landing_s - TRUTH.launch_s
    covered_s = seconds_at(0, 12_000, TRUTH.launch_s, TRUTH.landing_s) + 3.0  # three intervals of a second
    assert own["value"] == pytest.approx(100 * covered_s / flying_s, abs=own["uncertainty"])
    assert own["uncertainty"] < 0.5 and own["height_m"] == pytest.approx(12_000, abs=30)
    assert "saw too few satellites" in own["caveats"][0]
    shares = {row[0]: row[2:4] for row in own["table"]["rows"]}
    assert min(shares[10_000.0]) > 99.0 and shares[14_000.0] == [0.0, 0.0] and len(shares) == 11


def test_what_a_gap_of_the_log_hides_is_in_the_uncertainty():
    gap_s = (TRUTH.launch_s + 300.0, TRUTH.launch_s + 500.0)  # the receiver went on: 200 s of some 6000 are hidden
    own = positions.statements(case_of(keep_all(log_of(PLAN), lambda t: (t < gap_s[0]) | (t > gap_s[1]))))
    own, whole = own["gnss_coverage"], told()[1]["gnss_coverage"]
    assert whole["value"] - own["value"] > 2.0 > whole["uncertainty"]
    assert own["value"] + own["uncertainty"] > whole["value"] > own["value"]
    assert own["uncertainty"] < 1.3 * (whole["value"] - own["value"]) + 0.5
    assert "hide what the receiver did in 3 min" in own["caveats"][-1]


def test_each_tracker_is_told_up_to_which_height_it_worked():
    _, made = told()
    trackers = made["tracker_coverage"]
    assert 'The tracker "Phone {network}" worked up to' in trackers["text"]
    assert 'the tracker "Elsewhere" was not heard in flight' in trackers["text"]
    names = [name for name, _ in trackers["table"]["columns"]]
    rows = {row[0]: dict(zip(names, row, strict=True)) for row in trackers["table"]["rows"]}
    phone = rows["Phone {network}"]
    # A report a minute, 5 m/s up and some 10 m/s down there: the last one below 3 km is at most 600 m below it.
    assert 2600 < phone["up to"] < 3000 and 2300 < phone["again from"] < 3000
    assert phone["usual interval"] == 60.0 and phone["first report"] == pytest.approx(-TRUTH.launch_s, abs=1)
    assert rows["Satellite"]["covers"] > 99 and rows["Satellite"]["greatest height"] > 21_000
    assert trackers["value"] == pytest.approx(rows["Satellite"]["greatest height"], abs=0.1)
    assert any("1 h ahead of UTC" in line for line in trackers["caveats"])


def test_silences_that_are_usual_are_told():
    _, made = told()
    usual = {row[0]: row[4] for row in made["silence_expected"]["table"]["rows"]}
    assert usual["own receiver"] == "a receiver that stops above 12 km"
    assert "phone network" in usual["Phone {network}"]
    assert made["silence_expected"]["value"] == 2


def test_positions_agree_as_far_as_they_were_set_apart():
    _, made = told()
    pair = made["position_agreement"]
    noise_m = PLAN.fix_noise_m
    # 8 m north, and the fixes' own scatter of 2.5 m on each axis.
    assert 8.0 - noise_m < pair["value"] < 8.0 + noise_m
    rows = {row[0]: row for row in pair["table"]["rows"]}
    assert rows["Satellite"][4] == pytest.approx(20.0, abs=3.0) and len(rows) == 2
    assert "km" not in pair["text"] and pair["confidence"] != "cannot tell"


def test_rows_for_the_table_and_the_plot_have_every_band_of_every_source():
    case, _ = told()
    found = case.once(positions.find_coverage)
    assert {(row["source"], row["bottom_m"]) for row in found.rows} == {
        (source.name, 2000.0 * band) for source in found.sources for band in range(11)
    }
    assert len(found.rows) == 4 * 11


def test_what_the_ground_heard_is_the_beacons():
    log = log_of(PLAN)
    t = np.arange(5.0, TRUTH.time_s[-1], 10.0)
    t = t[(TRUTH.height_at(t) > 4000.0) | (t < TRUTH.burst_s)]  # the ground hides it at the end
    log.records["beacon"] = records_of("beacon", np.rint(t * 1000 * (1 + PLAN.drift_ppm * 1e-6)), height=100)
    made = positions.statements(case_of(log))
    link = made["downlink_coverage"]
    silent_s = seconds_at(0, 4000, TRUTH.burst_s, TRUTH.landing_s) - 30.0
    expected = 100 * (1 - silent_s / (TRUTH.landing_s - TRUTH.launch_s))
    assert link["value"] == pytest.approx(expected, abs=link["uncertainty"]) and "The ground heard" in link["text"]


def test_what_is_not_there_has_a_reason():
    made = positions.statements(case_of(log_of(Plan(burst_m=5000.0, ceiling_m=-1000.0, drift_ppm=0.0))))
    for key in ("gnss_coverage", "downlink_coverage", "tracker_coverage", "position_agreement"):
        assert made[key]["value"] is None and made[key]["reason"], key
    assert set(made["gnss_coverage"]) == set(statement("x", "y"))


@pytest.mark.parametrize("first_s, last_s", [(0.0, 300.0), (1000.0, 1000.5), (6000.0, 6400.0)])
def test_a_piece_of_a_flight_makes_no_trouble(first_s, last_s):
    log = keep_all(log_of(PLAN), lambda t: (t >= first_s) & (t <= last_s))
    track = track_of("Any", 60.0, lambda t, height: height < 3000.0)
    positions.statements(case_of(log, (track,)))
