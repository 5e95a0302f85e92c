"""Flights that do not go as flights usually go: what their phases and moments are, and how sure."""

import numpy as np
import pytest
from made_flight import START_UTC_MS, Plan, garbled, keep, keep_all, log_of, truth_of

from ground.analyse.climb_end import CUT, FALL, FLOAT, SLOW, UNKNOWN
from ground.analyse.fixes import clean_fixes
from ground.analyse.landing_place import DRAGGED, LAY_STILL, MOVED, find_after_landing
from ground.analyse.neighbours import fits_neighbours
from ground.analyse.places import position_fixes
from ground.decode import decode_flight
from ground.physics.geodesy import distance_m
from ground.statements.case import build_case

LOW = Plan(burst_m=3600.0, wait_s=300.0, rest_s=420.0)
NO_PRESSURE = ("pressure", lambda t: t < 0)
NO_FIX = ("fix", lambda t: t < 0)


def odd(**changes):
    return Plan(**{"burst_m": 3600.0, "wait_s": 300.0, "rest_s": 420.0, **changes})


def case_of(*logs):
    return build_case(decode_flight(list(logs)), None)


def since_start_s(case, time_s):
    return (case.timeline.utc(time_s).astype(np.int64) - START_UTC_MS) / 1000


def told_truly(case, truth, names=("launch", "burst", "landing")):
    """Every moment of these names is told, within its expanded uncertainties of time, height and place."""
    for name in names:
        moment, true_s = getattr(case.moments, name), getattr(truth, f"{name}_s")
        assert abs(since_start_s(case, moment.time_s) - true_s) <= 2 * moment.uncertainty_s, name
        after_s = true_s + (1.0 if name == "landing" else 0.0)  # in a tree the truth's last step is the fall's
        assert abs(moment.height_m - truth.height_at(after_s)) <= 2 * moment.height_error_m, name
        if moment.latitude_deg is not None and name != "burst":
            away_m = distance_m(moment.latitude_deg, moment.longitude_deg, *truth.place_at(true_s))
            assert away_m <= 2 * moment.place_error_m, name


# --- fixes with a wrong digit


@pytest.mark.parametrize("sparse", [False, True])
def test_a_wrong_digit_that_passed_the_check_sum_is_found(sparse):
    """GNSS noise of 2.5 m a component: five deviations and the least deviations that are looked at."""
    log = log_of(LOW)
    if sparse:
        chosen = np.random.default_rng(3).random(len(log.records["fix"].tick_ms)) < 0.13
        log = keep(log, "fix", lambda t: chosen)
    truth, case = truth_of(LOW), case_of(garbled(log, 0.1))
    every = len(log.records["fix"].tick_ms)
    places = position_fixes(case.timeline)
    seen_s = since_start_s(case, 0.0) + places.time_s - 0.13
    true_deg = np.array([truth.place_at(t) for t in seen_s])
    away_m = distance_m(places["latitude_deg"], places["longitude_deg"], *true_deg.T)
    # Where few fixes show the release, a wrong place beside it can pass for the bend of the course.
    assert np.mean(away_m > 35.0) < 0.005 and 0.93 * every < len(places)
    heights = clean_fixes(case.timeline, ("height_m",))
    true_m = truth.height_at(since_start_s(case, 0.0) + heights.time_s - 0.13)
    assert np.abs(heights["height_m"] - true_m).max() < 25.0 and 0.95 * every < len(heights)
    speeds = clean_fixes(case.timeline, ("ground_speed_m_s",))
    assert speeds["ground_speed_m_s"].max() < LOW.wind_m_s * (1 + LOW.burst_m / 20_000) + 5.0
    told_truly(case, truth)


def test_what_a_receiver_that_hangs_says_again_is_left_out():
    log, truth = log_of(LOW), truth_of(LOW)
    fix = log.records["fix"]
    from_s, to_s = truth.burst_s - 200, truth.burst_s + 100
    hangs = (fix.tick_ms / 1000 > from_s) & (fix.tick_ms / 1000 < to_s)
    for name in ("latitude", "longitude", "height", "speed"):
        fix.values[name][hangs] = fix.values[name][hangs][0]
    case = case_of(log)
    assert len(case.heights.gnss) < len(fix.tick_ms) - hangs.sum() + 3
    told_truly(case, truth)


def test_the_top_of_a_flight_fits_its_neighbours():
    # Galileo's law of fall, 9.81 m/s2 from 5 m/s upwards, after a straight climb.
    after_s = np.arange(-60.0, 20.0)
    height_m = np.where(after_s < 0, 5.0 * after_s, 5.0 * after_s - 9.81 / 2 * after_s**2)
    assert fits_neighbours(after_s, height_m, 12.0).all()
    height_m[30] += 40.0
    assert np.flatnonzero(~fits_neighbours(after_s, height_m, 12.0)).tolist() == [30]


@pytest.mark.parametrize("n", [0, 1, 2, 5, 7])
def test_few_samples_have_no_neighbours_to_contradict_them(n):
    assert fits_neighbours(np.arange(n), np.zeros(n), 1.0).all()


# --- how the climb ends


@pytest.mark.parametrize("without", [None, NO_PRESSURE, NO_FIX])
def test_a_float_is_no_burst(without):
    plan = odd(float_s=1200.0)
    log, truth = log_of(plan), truth_of(plan)
    case = case_of(keep(log, *without) if without else log)
    end, moments = case.moments.climb_end, case.moments
    assert end.kind == FLOAT and moments.burst.time_s is None and "float" in moments.burst.reason
    fall_s = end.fall_s if without == NO_FIX else since_start_s(case, end.fall_s)
    assert abs(fall_s - truth.burst_s) < 2 * end.fall_uncertainty_s
    float_s = end.float_end_s - end.float_start_s
    assert abs(float_s - 1200.0) < 2 * np.hypot(end.uncertainty_s, end.fall_uncertainty_s)
    assert 20 < end.highest_m - end.lowest_m < 40  # it swings by 12 m to both sides
    assert moments.landing.time_s is not None
    if without != NO_FIX:
        told_truly(case, truth, ("launch", "landing"))


def test_a_gap_at_the_end_of_a_float_makes_its_end_vague():
    plan = odd(float_s=1200.0)
    log, truth = log_of(plan), truth_of(plan)
    for late_s in (-70.0, 70.0):
        case = case_of(keep_all(log, lambda t, late_s=late_s: np.abs(t - truth.burst_s - late_s) > 100))
        end = case.moments.climb_end
        error_s = abs(since_start_s(case, end.fall_s) - truth.burst_s)
        assert end.kind == FLOAT and error_s <= 2 * end.fall_uncertainty_s < 150


@pytest.mark.parametrize("without", [None, NO_FIX])
def test_data_that_end_in_a_float_have_no_landing(without):
    plan = odd(float_s=1200.0)
    log = keep_all(log_of(plan), lambda t: t < truth_of(plan).burst_s - 300)
    case = case_of(keep(log, *without) if without else log)
    assert case.moments.climb_end.kind == FLOAT and case.moments.climb_end.ends_with_data
    assert case.moments.landing.time_s is None and case.phases.rest_s is None


@pytest.mark.parametrize("leak_m_s", [0.7, 2.0])
def test_a_leak_is_no_burst_and_its_landing_is_found(leak_m_s):
    plan = odd(leak_m_s=leak_m_s, burst_m=2000.0)
    case = case_of(log_of(plan))
    assert case.moments.climb_end.kind == SLOW and case.moments.burst.time_s is None
    assert abs(case.moments.climb_end.height_m - truth_of(plan).height_m.max()) < 20
    told_truly(case, truth_of(plan), ("launch", "landing"))


def test_a_fall_may_be_a_burst_or_a_cut_down_and_a_switch_tells():
    case = case_of(log_of(LOW))
    assert case.moments.climb_end.kind == FALL and case.moments.burst.time_s is not None
    case = case_of(log_of(odd(cut=True)))
    assert case.moments.climb_end.kind == CUT and "switch" in case.moments.burst.reason
    assert abs(since_start_s(case, case.moments.climb_end.fall_s) - truth_of(odd(cut=True)).burst_s) < 1.0


def test_data_that_end_in_the_climb_do_not_say_how_it_ended():
    case = case_of(log_of(LOW, last_s=700.0))
    assert case.moments.climb_end.kind == UNKNOWN and "data end" in case.moments.climb_end.reason


@pytest.mark.parametrize("odd_one", [{"burst_m": 700.0}, {"fall_at_sea_level_m_s": 18.0}])
def test_an_early_burst_and_a_tangled_canopy_are_told(odd_one):
    plan = odd(**odd_one)
    told_truly(case_of(log_of(plan)), truth_of(plan))


# --- before the launch, and on the ground


@pytest.mark.parametrize("without", [None, NO_PRESSURE])
def test_a_hop_on_a_line_is_no_launch(without):
    plan = odd(hop_m=50.0)
    log = log_of(plan)
    told_truly(case_of(keep(log, *without) if without else log), truth_of(plan))


@pytest.mark.parametrize("without", [None, NO_PRESSURE])
def test_a_landing_in_a_tree_is_a_landing(without):
    plan = odd(tree_m=14.0)
    log = log_of(plan)
    case = case_of(keep(log, *without) if without else log)
    told_truly(case, truth_of(plan))
    if without is None:  # fixes under leaves scatter too much to see a drop
        after = find_after_landing(case.fixes, case.heights, case.moments.landing.time_s)
        assert after.kind == LAY_STILL and after.drop_m == pytest.approx(14.0, abs=3.0)


@pytest.mark.parametrize(
    "changes, kind, moved_m",
    [({}, LAY_STILL, 0.0), ({"dragged_m_s": 3.0}, DRAGGED, 270.0), ({"driven_m_s": 12.0}, MOVED, 170 * 12.0)],
)
def test_what_moves_after_the_landing_has_landed_where_it_came_down(changes, kind, moved_m):
    plan = odd(**changes)
    case = case_of(log_of(plan))
    told_truly(case, truth_of(plan))
    after = find_after_landing(case.fixes, case.heights, case.moments.landing.time_s)
    assert after.kind == kind and after.moved_m == pytest.approx(moved_m, rel=0.2)


def test_a_landing_in_a_gap_has_a_place_but_no_time():
    truth = truth_of(LOW)
    case = case_of(keep_all(log_of(LOW), lambda t: np.abs(t - truth.landing_s) > 100))
    landing = case.moments.landing
    assert landing.time_s is None and "gap" in landing.reason
    away_m = distance_m(landing.latitude_deg, landing.longitude_deg, *truth.place_at(truth.landing_s))
    assert away_m <= 2 * landing.place_error_m


# --- honest uncertainties


@pytest.mark.parametrize("seed", range(4))
def test_the_uncertainties_hold_the_truth(seed):
    """Other noise, other winds, another parachute: the same cover. A larger number was tried by hand."""
    rng = np.random.default_rng(seed)
    plan = Plan(
        burst_m=rng.uniform(2000, 9000), climb_m_s=rng.uniform(3, 7), fall_at_sea_level_m_s=rng.uniform(4, 8),
        wind_m_s=rng.uniform(2, 30), warmer_k=rng.uniform(-15, 15), seed=100 + seed, rest_s=300.0,
    )  # fmt: skip
    told_truly(case_of(log_of(plan)), truth_of(plan))
