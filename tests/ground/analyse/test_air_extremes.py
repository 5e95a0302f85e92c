"""The coldest and warmest levels against the rows of a real sounding, and medians of layers against pandas."""

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from ground.analyse.air_extremes import coldest_level, colder_in_gaps, layer_medians, rise_above, widest_hole

PRAHA = Path(__file__).parents[3] / "onboard" / "simulator" / "soundings" / "praha-libus-2007-11-20-1115z.csv"


@pytest.fixture(scope="module")
def praha():
    """(height, temperature) every 50 m of the sounding (provider and licence: SOURCES.md beside it)."""
    with open(PRAHA, encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["temperature_degC"]]
    names = ("geopotential_height_m", "temperature_degC")
    z, t = (np.array([float(row[name]) for row in rows]) for name in names)
    height = np.arange(350.0, 29_000.0, 50.0)
    return height, np.interp(height, z, t)


def test_the_coldest_level_is_the_soundings(praha):
    # The file's rows: -72.05 degC at 26 361 m; the tropopause at 12 207 m has -69.2 degC.
    height, celsius = praha
    celsius = celsius.copy()
    celsius[100] = -95.0  # one level that stands out
    celsius[200:210] = np.nan
    index, value = coldest_level(celsius)
    assert height[index] == pytest.approx(26_361, abs=100) and value == pytest.approx(-72.05, abs=0.2)


def test_the_warmer_air_above(praha):
    height, celsius = praha
    rise = rise_above(*praha, 12_207.0)
    above = celsius[height >= 26_361.0].max()
    assert rise.low_m == pytest.approx(26_361, abs=150) and rise.kelvin == pytest.approx(above + 72.05, abs=0.5)
    assert rise_above(*praha, 28_900.0) is None and rise_above(height[:0], celsius[:0], 0.0) is None
    assert rise_above(height, np.full(len(height), -50.0), 12_000.0).kelvin == pytest.approx(0.0, abs=1e-9)


def test_what_a_gap_may_hide():
    height = np.array([0.0, 100.0, 1100.0, 1200.0])
    # Down by 8 K/km from both ends of a kilometre: 4 K colder in its middle.
    colder, hole = colder_in_gaps(height, np.zeros(4), 1300.0, 0.0)
    assert colder == pytest.approx(4.0) and hole == (100.0, 1100.0)
    assert colder_in_gaps(height, np.zeros(4), 2200.0, 0.0) == (pytest.approx(8.0), (1200.0, 2200.0))
    assert colder_in_gaps(height, np.zeros(4), 1300.0, -9.0) == (0.0, None)
    assert widest_hole(height, 500.0, 1500.0) == (1200.0, 1500.0)
    assert widest_hole(height, 5000.0, 6000.0) == (5000.0, 6000.0)


def test_medians_of_layers_are_those_of_pandas():
    random = np.random.default_rng(8)
    height, value = random.uniform(-300.0, 5000.0, 3000), random.standard_normal(3000)
    edges, medians, counts = layer_medians(height, value, 200.0)
    groups = pd.Series(value).groupby(np.floor(height / 200.0) * 200.0)
    assert np.array_equal(edges, groups.median().index) and np.allclose(medians, groups.median())
    assert np.array_equal(counts, groups.count())
    assert all(len(part) == 0 for part in layer_medians([], [], 200.0))
