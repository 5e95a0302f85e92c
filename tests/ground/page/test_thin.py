"""Fewer points of a line, and the same picture."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from ground.page.thin import MOST_POINTS, thin

NUMBERS = st.floats(-1e6, 1e6) | st.just(float("nan"))


@given(arrays(float, st.integers(0, 300), elements=NUMBERS), st.integers(12, 60))
def test_it_keeps_the_extremes_and_the_bound(y, most):
    x = np.arange(len(y), dtype=float)
    keep = thin(x, y, most)
    assert len(keep) <= max(most, 12) and (np.diff(keep) > 0).all()
    known = np.isfinite(y)
    if known.any():
        assert np.nanmin(y[keep]) == np.nanmin(y) and np.nanmax(y[keep]) == np.nanmax(y)
    if known.any() and len(y) > most:
        assert np.isin([np.flatnonzero(known)[0], np.flatnonzero(known)[-1]], keep).all()


def test_each_column_of_pixels_shows_the_same():
    # Jugel et al. 2014, section 4.2: a line chart of as many columns of pixels as there are groups is drawn without
    # an error from the first, last, lowest and highest point of each group.
    rng = np.random.default_rng(5)
    x, y = np.arange(60_000.0), rng.normal(size=60_000).cumsum()
    keep = thin(x, y, MOST_POINTS)
    steps = MOST_POINTS // 6
    column = np.arange(60_000) * steps // 60_000
    for shown in range(steps):
        all_y, kept_y = y[column == shown], y[keep[column[keep] == shown]]
        ends = (all_y[0], all_y[-1], all_y.min(), all_y.max())
        assert (kept_y[0], kept_y[-1], kept_y.min(), kept_y.max()) == ends


def test_a_gap_stays_a_gap():
    y = np.ones(50_000)
    y[20_000:20_400] = np.nan
    keep = thin(np.arange(50_000.0), y)
    assert np.isnan(y[keep]).sum() == 1
