"""Profiles against pandas and the standard atmosphere's tables."""

import numpy as np
import pandas as pd
import pytest

from ground.analyse.profile import build_profile, even_levels, filled, gaps


def test_levels_are_the_medians_that_pandas_finds():
    random = np.random.default_rng(5)
    height = random.uniform(0.0, 12_000.0, 4000)
    height = height[(height < 5000) | (height > 5400)]  # a gap
    warmth = 288.0 - 0.0065 * height + random.standard_normal(len(height))
    time_s = random.permutation(len(height)).astype(float)
    hpa = 1013.25 * np.exp(-height / 8000.0)
    profile = build_profile(time_s, height, warmth, warmth + 1.0, np.full(len(height), 0.3), hpa)
    frame = pd.DataFrame({"level": np.rint(height / 50.0), "k": warmth, "m": height, "hpa": hpa})
    groups = frame.groupby("level").agg(["median", "count"])
    known = profile.known()
    assert np.allclose(profile.temperature_k[known], groups["k"]["median"])
    assert np.allclose(profile.height_m[known], groups["m"]["median"])
    assert np.allclose(profile.pressure_hpa[known], groups["hpa"]["median"])
    assert np.array_equal(profile.samples[known], groups["k"]["count"])
    assert np.allclose(profile.uncorrected_k[known], profile.temperature_k[known] + 1.0)
    assert 6 <= (~known).sum() <= 8 and np.isfinite(profile.height_m).all()
    assert gaps(profile.height_m[known], 300.0) == [(pytest.approx(5000, abs=50), pytest.approx(5400, abs=50))]
    # ISO 2533, table 5: 11 019 m geometric are 11 000 m geopotential.
    at = np.interp(11_019.0, profile.height_m, profile.geopotential_height_m)
    assert at == pytest.approx(11_000.0, abs=0.5)


def test_even_levels_keep_lines_and_leave_gaps_open():
    random = np.random.default_rng(7)
    height = np.sort(random.uniform(0.0, 9000.0, 3000))
    height = height[(height < 3000) | (height > 3900)]
    z, t = even_levels(height, 280.0 - 0.0065 * height, 100.0)
    assert np.allclose(t, 280.0 - 0.0065 * z, atol=1e-6)  # a local line gives a line back
    assert not ((z > 3050) & (z < 3850)).any() and ((z >= 100) & (z <= 2900)).sum() == 29
    noisy = even_levels(height, random.standard_normal(len(height)), 100.0)[1]
    assert np.std(noisy) < 0.35  # some thirty samples each, triangular weights
    assert all(len(part) == 0 for part in even_levels([], [], 100.0))
    assert len(even_levels([5.0, 5.0, 5.0], [1.0, 2.0, 3.0], 100.0)[0]) == 0
    assert len(even_levels([1.0, np.nan], [np.nan, 2.0], 100.0)[0]) == 0


def test_a_falls_levels_fill_a_climbs_gaps():
    def made(height, warmth):
        return build_profile(height / 5.0, height, warmth, warmth, np.full(len(height), 0.1))

    height = np.arange(0.0, 3000.0, 10.0)
    part = height[(height < 1000) | (height > 2000)]
    climb, fall = made(part, np.full(len(part), 250.0)), made(height, np.full(len(height), 260.0))
    both, share = filled(climb, fall)
    inside = (both.height_m > 1150) & (both.height_m < 1850)
    assert (both.temperature_k[inside] == 260.0).all() and share == pytest.approx(0.28, abs=0.05)
    assert (both.temperature_k[(both.height_m < 950) | (both.height_m > 2050)] == 250.0).all()
    assert (~both.known()).sum() <= 4 and (np.diff(both.height_m) > 0).all()  # within 100 m of the climb's own
    nothing = build_profile(height, height, np.full(len(height), np.nan), height, height)
    assert len(nothing) == 0 and nothing.reason
    assert filled(nothing, fall) == (fall, 1.0) and filled(climb, nothing) == (climb, 0.0)
