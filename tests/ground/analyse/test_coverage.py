"""Coverage by reports, silences, and agreement of positions, against numbers that can be counted by hand."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from ground.analyse import coverage
from ground.analyse.clock_shift import zone_shift_s
from ground.analyse.coverage import Silence
from ground.analyse.silences import explain

NONE = np.zeros(0)


def test_a_report_covers_three_intervals():
    report_s = np.concatenate([np.arange(0.0, 101.0, 10.0), np.arange(200.0, 301.0, 10.0)])
    time_s = np.arange(-10.0, 400.0)
    covered = coverage.is_covered(report_s, 10.0, time_s)
    # By hand: 0 to 130 and 200 to 330, both ends included.
    assert covered.sum() == 131 + 131
    assert covered[time_s == 130.0] and not covered[time_s == 131.0] and not covered[time_s == -1.0]


@pytest.mark.parametrize("lost", [0.0, 0.3, 0.6])
def test_the_usual_interval_is_right_though_most_reports_are_lost(lost):
    heard = np.random.default_rng(4).random(1000) >= lost
    assert coverage.usual_interval_s(np.arange(1000)[heard] * 20.0) == 20.0


def test_shares_are_of_the_time_in_each_band_on_the_way_up_and_down():
    # 10 m/s up to 10 km, then 20 m/s down; reports every 10 s up to 5 km, and again below 3 km.
    time_s = np.arange(0.0, 1501.0, 5.0)
    height_m = np.where(time_s <= 1000.0, 10.0 * time_s, 10_000.0 - 20.0 * (time_s - 1000.0))
    report_s = np.concatenate([np.arange(0.0, 501.0, 10.0), np.arange(1350.0, 1500.0, 10.0)])
    grid_s, grid_m = coverage.height_grid(time_s, height_m, 0.0, 1500.0)
    edges_m = coverage.band_edges_m(grid_m)
    up, down, reports = coverage.cover_by_band(report_s, 10.0, grid_s, grid_m, 1000.0, edges_m)
    assert edges_m[:6].tolist() == [0, 2000, 4000, 6000, 8000, 10_000]
    # By hand: the last report of the way up is of 500 s and covers until 530 s, 65 % of 4 to 6 km; the first of the
    # way down is of 3 km, so that half of 2 to 4 km is covered.
    assert up[:5] == pytest.approx([1.0, 1.0, 0.65, 0.0, 0.0], abs=0.011)
    assert down[:5] == pytest.approx([1.0, 0.5, 0.0, 0.0, 0.0], abs=0.011)
    assert reports.sum() == len(report_s) and reports[3:].sum() == 0
    silence = coverage.longest_silence(report_s, grid_s, grid_m)
    assert (silence.start_s, silence.end_s, silence.from_m, silence.to_m) == (500.0, 1350.0, 5000.0, 3000.0)


def test_heights_are_not_known_across_a_long_gap():
    time_s = np.array([0.0, 100.0, 400.0, 500.0])
    grid_s, grid_m = coverage.height_grid(time_s, 10.0 * time_s, 0.0, 500.0)
    assert np.isnan(grid_m[(grid_s > 100) & (grid_s < 400)]).all()
    assert grid_m[grid_s == 450.0] == pytest.approx(4500.0)


def test_nothing_at_all_is_no_trouble():
    grid_s, grid_m = coverage.height_grid(NONE, NONE, 0.0, 100.0)
    edges_m = coverage.band_edges_m(grid_m)
    up, _, reports = coverage.cover_by_band(NONE, np.nan, grid_s, grid_m, 50.0, edges_m)
    assert np.isnan(up).all() and reports.sum() == 0 and np.isnan(coverage.usual_interval_s(NONE))
    assert coverage.longest_silence(NONE, grid_s, grid_m).length_s == pytest.approx(99.0)
    assert coverage.longest_silence(NONE, NONE, NONE) is None
    assert coverage.agreement((NONE,) * 4, (NONE,) * 4) is None


def flown(shift_s=0.0, east_m=0.0, up_m=0.0, every_s=30.0):
    """(source, own): a payload that drifts north-east by 20 m/s; places by another library."""
    own_s = np.arange(0.0, 6000.0, 10.0)
    places = [Geodesic.WGS84.Direct(47.0, 19.8, 60.0, 20.0 * t) for t in own_s]
    own = own_s, *(np.array([p[name] for p in places]) for name in ("lat2", "lon2")), 5.0 * own_s
    step = round(every_s / 10.0)
    moved = [Geodesic.WGS84.Direct(p["lat2"], p["lon2"], 90.0, east_m) for p in places[::step]]
    source = own_s[::step] + shift_s, *(np.array([p[name] for p in moved]) for name in ("lat2", "lon2"))
    return (*source, own[3][::step] + up_m), own


def test_the_distance_between_two_sources_is_that_of_another_librarys_geodesic():
    # geographiclib (C. F. F. Karney): every position of the source lies 120 m east of the own one.
    found = coverage.agreement(*flown(east_m=120.0, up_m=-33.0))
    assert found.median_m == pytest.approx(120.0, abs=0.1) and found.most_m == pytest.approx(120.0, abs=0.1)
    assert found.up_m == pytest.approx(-33.0) and found.up_most_m == pytest.approx(33.0) and found.samples == 200


# IANA time zone database: UTC+1 and +2 in Hungary, -5 in New York in winter, +5:45 in Nepal.
@pytest.mark.parametrize("hours", [1.0, 2.0, -5.0, 5.75])
def test_a_time_zone_is_seen_by_the_positions(hours):
    assert zone_shift_s(*flown(shift_s=3600.0 * hours, east_m=15.0)) == 3600.0 * hours


@pytest.mark.parametrize("shift_s, east_m", [(0.0, 15.0), (20.0, 15.0), (0.0, 9000.0), (3600.0, 50_000.0)])
def test_no_time_zone_is_invented(shift_s, east_m):
    assert zone_shift_s(*flown(shift_s, east_m)) == 0.0


# What is usual: common practice, no source (see ground.analyse.silences).
@pytest.mark.parametrize("silence, kind, why, said", [
    ((2400, 7000, 12_050, 11_200), "gnss", "no fix", "above 12 km"),
    ((3600, 6500, 18_100, 17_000), "tracker", None, "above 18 km"),
    ((2400, 7000, 12_050, 11_200), "gnss", "no records", None),
    ((2400, 7000, 12_050, 11_200), "gnss", "no answer", None),
    ((2400, 4000, 12_050, 20_000), "gnss", "no fix", None),  # it spoke again while still above
    ((400, 8500, 2200, 900), "tracker", None, "phone network"),
    ((1800, 7000, 9000, 6000), "tracker", None, None),
    ((8700, 9000, 700, np.nan), "downlink", None, "ground hides"),
    ((2000, 2600, 10_000, 13_000), "downlink", None, None),
    ((2000, 2600, np.nan, np.nan), "tracker", None, None),
])  # fmt: skip
def test_usual_silences_are_told_from_others(silence, kind, why, said):
    found = explain(Silence(*silence), 6000.0, 9000.0, kind, why)
    assert found is None if said is None else said in found
