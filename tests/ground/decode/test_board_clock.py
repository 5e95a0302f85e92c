"""The board's clock from its fixes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ground.decode.clock import ROLLOVER_MS, fit_clock

START_MS = 1_778_313_600_000  # 2026-05-09T08:00:00Z


def fixes(seconds, drift_ppm=0.0, jitter_ms=0.0, seed=7, boot_at_s=0.0):
    """Ticks and UTC of a fix a second, by a clock that runs fast by so much."""
    rng = np.random.default_rng(seed)
    true_s = np.arange(seconds, dtype=float) + boot_at_s
    tick = np.rint((true_s * 1000 + 120 + rng.uniform(0, jitter_ms, seconds)) * (1 + drift_ppm * 1e-6))
    return tick, START_MS + true_s * 1000


@pytest.mark.parametrize("drift_ppm", [-100.0, 0.0, 37.5, 250.0])
def test_the_drift_is_found_to_a_tenth_of_a_ppm_in_a_flight(drift_ppm):
    tick, utc = fixes(9000, drift_ppm, jitter_ms=30)
    clock = fit_clock(tick, utc)
    assert abs(clock.drift_ppm - drift_ppm) < 0.1
    assert clock.fixes_used == 9000 and clock.fixes_rejected == 0
    found = clock.utc(tick.astype(np.int64)).astype(np.int64)
    assert np.abs(found - utc).max() <= 17  # half the jitter, and the rounding to a whole ms


def test_the_stated_uncertainty_of_the_drift_holds():
    errors = []
    for seed in range(40):
        clock = fit_clock(*fixes(1800, 20.0, jitter_ms=60, seed=seed))
        errors.append((clock.drift_ppm - 20.0) / clock.drift_uncertainty_ppm)
    # Of normal errors 0.3 % lie beyond three standard deviations, so 40 of them seldom do.
    assert np.abs(errors).max() < 4 and 0.4 < np.std(errors) < 1.6


def test_a_fix_a_week_off_and_a_time_that_stands_still_are_rejected():
    tick, utc = fixes(3000, 50.0)
    wrong = utc.copy()
    wrong[100] += 7 * 86_400_000
    wrong[2000:2060] = wrong[2000]
    clock = fit_clock(tick, wrong)
    assert abs(clock.drift_ppm - 50.0) < 0.1
    assert clock.fixes_used == 3000 - 1 - 59 and clock.fixes_rejected == 60


def test_a_time_that_stands_still_for_most_of_the_flight_does_not_bend_the_line():
    tick, utc = fixes(3000, 50.0)
    stuck = utc.copy()
    stuck[1000:2900] = stuck[1000]
    clock = fit_clock(tick, stuck)
    assert abs(clock.drift_ppm - 50.0) < 0.2 and clock.fixes_rejected == 1899


def test_fixes_that_come_seconds_late_are_rejected():
    tick, utc = fixes(3000, 50.0)
    late = np.random.default_rng(3).random(3000) < 0.15
    clock = fit_clock(np.sort(tick + np.where(late, 400.0, 0.0)), utc)
    assert abs(clock.drift_ppm - 50.0) < 0.1 and clock.fixes_used == (~late).sum()


@pytest.mark.parametrize("share", [0.2, 0.45])
@pytest.mark.parametrize("turns", [-1, 1, -2])
def test_dates_of_a_missed_week_rollover_are_rejected_and_counted(turns, share):
    # IS-GPS-200: the week number has 10 bits, so a date goes wrong by 1024 weeks = 7168 days.
    assert ROLLOVER_MS == 7168 * 86_400_000
    tick, utc = fixes(2000)
    wrong = utc.copy()
    early = round(2000 * share)
    wrong[:early] += turns * 7168 * 86_400_000
    clock = fit_clock(tick, wrong)
    assert clock.weeks_wrong == early and clock.fixes_used == 2000 - early
    assert clock.utc_of(int(tick[0])).astype(np.int64) == pytest.approx(utc[0], abs=2)


def test_a_clock_that_is_wrong_throughout_is_seen_by_its_date():
    tick, utc = fixes(500)
    assert not fit_clock(tick, utc).before_the_format()
    assert fit_clock(tick, utc - ROLLOVER_MS).before_the_format()


def test_few_fixes_set_the_clock_but_show_no_drift():
    tick, utc = fixes(5)
    clock = fit_clock(tick, utc)
    assert clock.drift_ppm is None and clock.fixes_used == 5
    assert abs((clock.utc_of(1_000_000).astype(np.int64) - START_MS) - (1_000_000 - 120)) <= 1


def test_no_fix_gives_no_clock():
    assert fit_clock(np.zeros(0), np.zeros(0)) is None


@given(
    st.lists(
        st.tuples(st.floats(0, 5e8), st.floats(0, 5.7e12)).map(lambda p: (round(p[0]), round(p[1]))),
        min_size=1, max_size=60,
    )
)  # fmt: skip
def test_any_times_give_a_clock_that_uses_at_least_one_fix(pairs):
    pairs.sort()
    clock = fit_clock(np.array([p[0] for p in pairs], float), np.array([p[1] for p in pairs], float))
    assert clock.fixes_used >= 1
    assert clock.fixes_used + clock.fixes_rejected == len(pairs)
    assert np.isfinite([clock.middle_ms, clock.utc_at_middle_ms, clock.ms_per_tick]).all()


@given(st.integers(0, 2**31), st.floats(-200, 200), st.floats(0.0, 0.28))
def test_the_clock_survives_any_share_of_scattered_wrong_times(seed, drift_ppm, share):
    rng = np.random.default_rng(seed)
    tick, utc = fixes(1500, drift_ppm)
    wrong = utc.copy()
    bad = rng.random(1500) < share
    wrong[bad] = rng.integers(0, 5_000_000_000_000, bad.sum())
    clock = fit_clock(tick, wrong)
    assert abs(clock.drift_ppm - drift_ppm) < 1.0
    assert clock.fixes_used >= (~bad).sum() - 1
