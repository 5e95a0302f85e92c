"""Lapse rates, freezing levels and layers against the standard atmosphere, NumPy, MetPy and real soundings."""

import csv
from pathlib import Path

import numpy as np
import pytest

from ground.analyse.lapse import (
    fit_layer, fixed_layers, freezing_levels, inversions, isothermal_layers, sharpened,
)  # fmt: skip
from ground.analyse.profile import even_levels
from ground.physics.atmosphere import standard_temperature_k

ROOT = Path(__file__).parents[3]
KOROR = ROOT / "tests" / "data" / "soundings" / "koror-2008-12-08-12z.csv"
PRAHA = ROOT / "onboard" / "simulator" / "soundings" / "praha-libus-2007-11-20-1115z.csv"


def sounding(path):
    with open(path, encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["temperature_degC"]]
    return tuple(
        np.array([float(row[name]) for row in rows]) for name in ("geopotential_height_m", "temperature_degC")
    )


def test_the_standard_atmospheres_gradients():
    # ISO 2533:1975, table 4 (US Standard Atmosphere 1976 the same): -6.5, 0, +1.0 and +2.8 K/km.
    height = np.arange(0.0, 40_000.0, 50.0)
    layers = fixed_layers(height, standard_temperature_k(height), 0.0, 1000.0)
    assert len(layers) == 40 and layers[0].from_m == 0.0 and layers[-1].to_m == 40_000.0
    for layer in layers:
        expected = (
            6.5 if layer.to_m <= 11_000 else 0.0 if layer.to_m <= 20_000 else -1.0 if layer.to_m <= 32_000 else -2.8
        )
        assert layer.rate_k_km == pytest.approx(expected, abs=1e-6)
    assert len(isothermal_layers(height, standard_temperature_k(height), 0.5)) == 1
    same = isothermal_layers(height, standard_temperature_k(height), 0.5)[0]
    assert same.from_m == pytest.approx(11_000, abs=100) and same.to_m == pytest.approx(20_500, abs=150)
    warm = inversions(height, standard_temperature_k(height))
    # 216.65 K at 20 km, 228.65 K at 32 km, and 2.8 K/km above: one layer that grows warmer up to the end.
    assert len(warm) == 1 and warm[0].from_m >= 11_000 and warm[0].to_m == 39_950.0
    assert warm[0].rise_k == pytest.approx(228.65 + 7.95 * 2.8 - 216.65, abs=0.01)


def test_a_rate_and_its_uncertainty_are_those_of_numpys_fit():
    random = np.random.default_rng(4)
    height = np.arange(25.0, 1000.0, 50.0)  # each in the middle of its part of the layer, so that all count alike
    rates, stated = [], []
    for _ in range(300):
        warmth = 280.0 - 0.0065 * height + 0.2 * random.standard_normal(len(height))
        layer = fit_layer(height, warmth, 0.2, 0.0, 1000.0)
        assert layer.rate_k_km == pytest.approx(-1000.0 * np.polyfit(height, warmth, 1)[0], abs=1e-9)
        rates.append(layer.rate_k_km)
        stated.append(layer.standard_k_km)
    assert np.mean(rates) == pytest.approx(6.5, abs=0.05)
    inside = np.abs(np.array(rates) - 6.5) <= 2.0 * np.array(stated)
    assert 0.92 <= inside.mean() and np.median(stated) < 1.5 * np.std(rates)


def test_a_level_just_inside_or_outside_a_layer_makes_no_difference():
    # Over Praha from 1000 to 2000 m: -8.77 K/km, numpy's line through the sounding every metre.
    z, celsius = sounding(PRAHA)
    fine = np.arange(1000.0, 2000.5)
    expected = -1000.0 * np.polyfit(fine, np.interp(fine, z, celsius), 1)[0]
    for moved_m in (-0.5, 0.5, 20.0):
        height = np.arange(500.0, 2600.0, 50.0) + moved_m
        layer = fit_layer(height, np.interp(height, z, celsius), 0.1, 1000.0, 2000.0)
        assert layer.rate_k_km == pytest.approx(expected, abs=0.15)


def test_the_freezing_level_is_the_one_that_metpy_finds():
    calc = pytest.importorskip("metpy.calc")
    for path in (KOROR, PRAHA):
        height, celsius = sounding(path)
        found, rates = freezing_levels(height, celsius + 273.15)
        crossings, _ = calc.find_intersections(height, celsius, np.zeros(len(height)))
        assert np.allclose(found, crossings.magnitude, atol=0.5)
        assert rates[-1] < 0
    # Praha has three: it froze above the ground, thawed in the inversion, and froze for good.
    assert len(found) == 3 and rates[0] < 0 < rates[1]


def test_the_inversion_over_praha():
    # The file's rows: -4.55 degC at 1098 m, 6.75 at 1251 m, 6.85 at 2032 m, with 6.45 between.
    height, celsius = sounding(PRAHA)
    first = inversions(height, celsius + 273.15)[0]
    assert (first.from_m, first.to_m) == (1098.0, 2032.0)
    assert first.rise_k == pytest.approx(11.4, abs=0.01)


def test_a_sharp_inversion_keeps_its_rise():
    # As below: 11.4 K, of which a smoothing over 100 m loses some; levels of 50 m lie beside its corners.
    z, celsius = sounding(PRAHA)
    height = np.arange(350.0, 4000.0, 50.0)
    warmth = np.interp(height, z, celsius) + 273.15
    smooth = inversions(*even_levels(height, warmth, 100.0))[0]
    sharp = sharpened(smooth, height, warmth)
    assert smooth.rise_k < 11.1 and sharp.rise_k == pytest.approx(11.4, abs=0.25)
    assert sharpened(smooth, height, np.full(len(height), np.nan)) == smooth


def test_little_data_gives_nothing():
    empty = np.zeros(0)
    assert fixed_layers(empty, empty, empty) == [] and inversions(empty, empty) == []
    assert isothermal_layers(empty, empty) == [] and len(freezing_levels(empty, empty)[0]) == 0
    height = np.arange(0.0, 1000.0, 50.0)
    assert fit_layer(height, np.full(20, np.nan), 0.1, 0.0, 1000.0) is None
    assert fit_layer(height[:8], 280.0 - 0.0065 * height[:8], 0.1, 0.0, 1000.0) is None  # less than 70 % of it
    assert fit_layer(height, np.full(20, 280.0), 0.1, 0.0, 1000.0).rate_k_km == pytest.approx(0.0, abs=1e-9)
    assert len(freezing_levels(height, np.full(20, 280.0))[0]) == 0
