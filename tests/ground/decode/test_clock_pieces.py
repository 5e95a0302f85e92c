"""The board's clock when its crystal gets cold."""

import numpy as np
import pytest

from ground.decode.clock import fit_clock

START_MS = 1_778_313_600_000  # 2026-05-09T08:00:00Z
# A tuning fork's parabola: turnover at 25 degC and -0.030 ppm/K2, CTS, TF16 series data sheet 008-0416-0; other
# makers' watch crystals have up to -0.035 +- 0.009 (ACT, OJ 00003 data sheet).
TURNOVER_DEGC = 25.0
DELAY_MS = 120.0  # of the receiver: constant, so that no fit can see it


class Flight:
    """A flight's clock by a profile of the crystal's temperature: 15 degC, down to the coldest, and back."""

    def __init__(self, hours=3.0, coldest_degc=-45.0, coefficient=-0.035, seed=1, jitter_ms=30.0):
        rng = np.random.default_rng(seed)
        self.second = np.arange(int(hours * 3600), dtype=float)
        turns = np.array([0.0, 0.05, 0.6, 0.9, 1.0]) * len(self.second)
        degc = np.interp(self.second, turns, [15.0, 15.0, coldest_degc, 0.0, 8.0])
        self.ppm = 20.0 + coefficient * (degc - TURNOVER_DEGC) ** 2
        self.tick = (self.second + np.cumsum(self.ppm) * 1e-6) * 1000.0
        late_ms = DELAY_MS + rng.uniform(-jitter_ms, jitter_ms, len(self.second))
        self.arrived = np.rint(np.interp(self.second * 1000.0 + late_ms, self.second * 1000.0, self.tick))
        self.utc = START_MS + self.second * 1000.0
        self.seen = np.ones(len(self.second), bool)

    def fit(self):
        return fit_clock(self.arrived[self.seen], self.utc[self.seen])

    def errors_ms(self, clock):
        """Of UTC at every second, without the receiver's delay."""
        return clock.utc(np.rint(self.tick).astype(np.int64)).astype(float) - self.utc + DELAY_MS

    def drift_ppm(self):
        """The mean over the time with fixes."""
        first, last = np.flatnonzero(self.seen)[[0, -1]]
        return ((self.tick[last] - self.tick[first]) / (self.utc[last] - self.utc[first]) - 1.0) * 1e6


@pytest.mark.parametrize("coldest_degc", [-20.0, -45.0, -60.0])
@pytest.mark.parametrize("coefficient", [-0.030, -0.035, -0.044])
def test_utc_stays_right_to_a_tenth_of_a_second_through_the_cold(coldest_degc, coefficient):
    flight = Flight(coldest_degc=coldest_degc, coefficient=coefficient)
    clock = flight.fit()
    error_ms = flight.errors_ms(clock)
    assert np.abs(error_ms).max() < 20.0  # the limit is 100
    assert abs(clock.drift_ppm - flight.drift_ppm()) <= 2.0 * clock.drift_uncertainty_ppm < 5.0
    pieces = [drift for _, _, drift, _ in clock.pieces]
    assert min(pieces) == pytest.approx(flight.ppm.min(), abs=0.15 * np.ptp(flight.ppm))
    assert np.mean(np.abs(error_ms) <= 2.0 * clock.uncertainty_ms(flight.tick)) > 0.95


@pytest.mark.parametrize("first_s, last_s", [(3000, 9000), (4500, 8100), (0, 1200), (9000, 10800)])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_time_without_fixes_is_bridged_and_the_uncertainty_says_it(first_s, last_s, seed):
    flight = Flight(seed=seed)
    flight.seen = (flight.second < first_s) | (flight.second >= last_s)
    clock = flight.fit()
    error_ms = np.abs(flight.errors_ms(clock))
    assert error_ms.max() < 100.0
    assert np.mean(error_ms <= 2.0 * clock.uncertainty_ms(flight.tick)) > 0.95
    with_fixes = error_ms[flight.seen]
    assert with_fixes.max() < 25.0


def test_sparse_fixes_still_make_pieces():
    flight = Flight()
    flight.seen = flight.second % 120 == 0
    clock = flight.fit()
    assert len(clock.pieces) > 2 and np.abs(flight.errors_ms(clock)).max() < 60.0


def test_wrong_times_among_a_bent_clock_are_rejected():
    flight = Flight()
    truth = flight.utc.copy()
    rng = np.random.default_rng(6)
    flight.utc[1000:1300] = flight.utc[1000]  # frozen
    flight.utc[:900] -= 18_000.0  # IS-GPS-200: GPS time ran 18 s ahead of UTC in 2017 to 2026, here taken off twice
    wrong = (rng.random(len(truth)) < 0.1) & (flight.second > 1500)
    flight.utc[wrong] += rng.choice([-2000.0, -700.0, 900.0, 3000.0], wrong.sum())
    clock = flight.fit()
    flight.utc = truth
    assert np.abs(flight.errors_ms(clock)).max() < 50.0
    assert clock.fixes_rejected == 900 + 299 + wrong.sum()


def test_a_clock_that_keeps_its_rate_gets_a_single_line():
    flight = Flight(coefficient=0.0, jitter_ms=60.0)
    clock = flight.fit()
    assert len(clock.pieces) == 1 and clock.drift_ppm == pytest.approx(20.0, abs=3 * clock.drift_uncertainty_ppm)
    assert clock.drift_uncertainty_ppm < 0.3


def test_pieces_meet_and_go_on_beyond_the_fixes():
    clock = Flight().fit()
    knots = np.array(clock.knots_ms)
    before, at = (clock.utc(np.rint(knots + step).astype(np.int64)).astype(np.int64) for step in (-1, 0))
    assert np.all(np.isin(at - before, (0, 1, 2)))
    late = clock.utc_of(int(knots[-1]) + 600_000) - clock.utc_of(int(knots[-1]))
    assert late.astype(int) == pytest.approx(600_000, abs=120)  # 200 ppm
    assert clock.uncertainty_ms(knots[-1:] + 3.6e6)[0] > 5 * clock.uncertainty_ms(knots[-1:])[0]


def test_few_fixes_each_half_an_hour_are_no_pieces():
    tick = np.arange(12) * 1_800_000.0
    clock = fit_clock(tick, START_MS + tick)
    assert clock.fixes_used == 12 and np.isfinite(clock.uncertainty_ms(tick)).all()
