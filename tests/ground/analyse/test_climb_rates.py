"""Mean rate and steadiness of a climb, on climbs made of equations."""

import numpy as np
import pytest
from ambiance import Atmosphere

from ground.analyse.climb import band_edges, find_climb, spread_percent, steadiness_word, tendency
from ground.analyse.height_error import FIX_HEIGHT_M, barometer_share, height_error_m
from ground.analyse.heights import Heights
from ground.analyse.series import Series

NOISE_M = 3.0


def climb_of(rate_of, top_m=16_000.0, seed=1, keep=None, known=True):
    """The Climb of a payload that rises at rate_of(height)."""
    rng = np.random.default_rng(seed)
    heights = [100.0]
    while heights[-1] < top_m:
        heights.append(heights[-1] + rate_of(heights[-1]))
    heights = np.array(heights)
    time_s = 50.0 + np.arange(len(heights))
    seen_m = heights + rng.normal(0, NOISE_M, len(heights))
    kept = np.ones(len(heights), bool) if keep is None else keep(time_s)
    ends = (
        (time_s[0], 0.5, heights[0] + rng.normal(0, 4), 4.0),
        (time_s[-1], 0.5, heights[-1] + rng.normal(0, 4), 4.0),
    )
    if not known:
        ends = [(end[0], None, None, None) for end in ends]
    return find_climb(time_s[kept], seen_m[kept], *ends, np.zeros(kept.sum()))


def test_the_mean_rate_is_covered_by_its_uncertainty():
    flown = [climb_of(lambda h: 5.0, seed=seed) for seed in range(10)]
    assert sum(abs(found.rate_m_s - 5.0) <= found.uncertainty_m_s for found in flown) >= 9
    found = climb_of(lambda h: 5.0)
    assert found.uncertainty_m_s < 0.02 and found.line.slope == pytest.approx(5.0, abs=0.01)


def test_the_bands_have_the_rates_that_the_payload_had():
    # The time between two heights at a rate of 4 m/s + h / 8000 s is 8000 s ln(rate above / rate below).
    found = climb_of(lambda h: 4.0 + h / 8000.0)
    low, high = found.bottom_m[1:-1], found.top_m[1:-1]
    exact = (high - low) / (8000.0 * np.log((4.0 + high / 8000.0) / (4.0 + low / 8000.0)))
    error = np.abs(found.band_rate_m_s[1:-1] - exact)
    assert np.mean(error <= found.band_uncertainty_m_s[1:-1]) == 1.0
    assert tendency(found) == 1
    assert spread_percent(found)[0] == pytest.approx(100 * (5.875 - 4.125) / 5.0, abs=3.0)


def test_a_vague_end_makes_the_mean_rate_vague():
    # A minute's doubt about when a climb of 3000 s ended is 2 % of its rate, k = 2 makes it 4 %.
    time_s, zeros = np.arange(3001.0), np.zeros(3001)
    found = find_climb(time_s, 5.0 * time_s, (0.0, 0.5, 0.0, 4.0), (3000.0, 60.0, 15_000.0, 4.0), zeros)
    assert found.rate_m_s == pytest.approx(5.0) and found.uncertainty_m_s == pytest.approx(0.2, rel=0.02)


def test_a_gap_leaves_its_bands_empty_and_the_mean_right():
    found = climb_of(lambda h: 5.0, keep=lambda t: (t < 1000.0) | (t > 2200.0))
    assert np.isnan(found.band_rate_m_s).sum() >= 2 and found.coverage < 0.8
    assert found.rate_m_s == pytest.approx(5.0, abs=0.02)


def test_without_known_ends_the_line_through_all_heights_counts():
    found = climb_of(lambda h: 5.0, known=False)
    assert abs(found.rate_m_s - 5.0) <= found.uncertainty_m_s and "Theil-Sen" in found.method


@pytest.mark.parametrize("samples", [0, 1, 5, 40])
def test_too_little_or_no_rise_is_no_climb(samples):
    flat = np.full(samples, 300.0)
    end = (0.0, None, None, None)
    assert find_climb(np.arange(samples) * 10.0, flat, end, end, flat * 0).reason


def test_bands_are_two_kilometres_thick_and_thinner_in_low_flights():
    assert band_edges(96.0, 30_400.0)[:3].tolist() == [96.0, 2000.0, 4000.0]
    assert np.diff(band_edges(96.0, 30_400.0)).min() >= 1000.0
    assert band_edges(0.0, 5000.0)[1] == 1000.0 and band_edges(10.0, 600.0)[1] == 250.0
    assert band_edges(5.0, 5.0).tolist() == [5.0, 5.0]


def test_the_words_follow_the_spread():
    assert [steadiness_word(p).lower() for p in (5, 20, 50, 90)] == [
        "very steady", "quite steady", "not very steady", "not steady"
    ]  # fmt: skip


def heights_of(fixes_up_to_m, source):
    """Heights of a steady climb to 30 km in the atmosphere of ISO 2533, with fixes up to some height."""
    height_m = np.arange(0.0, 30_001.0, 100.0)
    pressure_hpa = Atmosphere(height_m).pressure / 100.0
    time_s, ticks = height_m / 5.0, np.arange(len(height_m))
    values = {"height_m": height_m, "pressure_hPa": pressure_hpa, "tie_m": np.zeros(len(height_m))}
    barometric = Series(time_s, values, ticks * 0, ticks, source)
    gnss = barometric.where(height_m <= fixes_up_to_m)
    return Heights(gnss, barometric, barometric, barometric, ())


def test_heights_by_pressure_are_less_sure_the_higher_they_are():
    tied = heights_of(12_000.0, "hypsometric, tied to fix")
    alone = heights_of(-1.0, "standard atmosphere")
    top_s = 6000.0
    errors = [height_error_m(tied, 1000.0, True), height_error_m(tied, top_s, False)]
    errors += [height_error_m(alone, top_s, False, own_air) for own_air in (True, False)]
    assert errors == sorted(errors) and errors[0] == FIX_HEIGHT_M
    # ISO 2533, 30 km: 1197 Pa at the geopotential height of 29 859 m. 40 Pa, within the MS5611-01BA03 data sheet's
    # 150 Pa, are 3.3 % of that, or some 230 m; 3 % of 30 km are 900 m.
    assert barometer_share(29_859.0) == pytest.approx(40.0 / 1197.0, rel=0.01)
    assert 230.0 < errors[1] < 400.0 and 900.0 < errors[3] < 1000.0
