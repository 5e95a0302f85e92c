"""Thermometers that fail in known ways, in the standard atmosphere and in the air of real soundings.

Data: tests/data/soundings and onboard/simulator/soundings (see SOURCES.md in both).
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from ground.analyse.thermometer_faults import shifted, standing_still, stuck_in_noise
from ground.physics.atmosphere import standard_temperature_k

ROOT = Path(__file__).parents[3]
SOUNDINGS = (
    ROOT / "onboard" / "simulator" / "soundings" / "praha-libus-2007-11-20-1115z.csv",
    ROOT / "tests" / "data" / "soundings" / "koror-2008-12-08-12z.csv",
    ROOT / "onboard" / "simulator" / "soundings" / "south-pole-2008-12-08-12z.csv",
)


def climbing(noise_k=0.05, step_k=1.0 / 64):
    time_s = np.arange(0.0, 2400.0)
    height = 100.0 + 5.0 * time_s
    warmth = 15.0 - 0.0065 * height + noise_k * np.random.default_rng(2).standard_normal(len(time_s))
    return time_s, np.round(warmth / step_k) * step_k, height


def test_a_thermometer_that_stands_still_is_seen():
    time_s, warmth, height = climbing()
    assert not standing_still(time_s, warmth, height).any()
    warmth[600:900] = warmth[600]
    still = standing_still(time_s, warmth, height)
    assert still[600:900].all() and still.sum() <= 302
    quiet = climbing(noise_k=0.0, step_k=1.0 / 16)[1]  # a coarse, quiet one in air that cools: not still
    assert not standing_still(time_s, quiet, height).any()
    # Air of one temperature under a quiet thermometer is no fault: ISO 2533 has it from 11 to 20 km.
    even = np.maximum(quiet, -30.0)
    turned = [np.concatenate([part, part[::-1]]) for part in (even, height)]
    assert not standing_still(np.arange(2.0 * len(time_s)), *turned).any()
    frozen = quiet.copy()
    frozen[1200:] = frozen[1200]  # to the end of the data, over 6 km
    assert standing_still(time_s, frozen, height)[1200:].all()
    assert standing_still(time_s, np.full(len(time_s), 20.0), height).all()
    assert not standing_still(time_s, np.full(len(time_s), 20.0), np.full(len(time_s), 90.0)).any()  # on the ground


def test_readings_on_another_scale_are_seen():
    time_s, warmth, _ = climbing()
    assert not shifted(time_s, warmth).any()
    warmth[1000:1500] -= 8.0
    beside = shifted(time_s, warmth)
    assert beside[1000:1500].all() and beside.sum() == 500
    assert not shifted(time_s[:10], warmth[:10]).any() and len(shifted(time_s[:0], warmth[:0])) == 0
    with_gap = np.delete(warmth, slice(1000, 1500))  # the air changed meanwhile, within a gap
    assert not shifted(np.delete(time_s, slice(1000, 1500)), with_gap).any()


def up_and_down(path, noise_k):
    """(time, temperature, height) of a flight through a sounding, 5 m/s up and 12 m/s down."""
    with open(path, encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["temperature_degC"]]
    names = ("geopotential_height_m", "temperature_degC")
    z, celsius = (np.array([float(row[name]) for row in rows]) for name in names)
    height = np.concatenate([np.arange(z[0], 28_000.0, 5.0), np.arange(28_000.0, z[0], -12.0)])
    noise = noise_k * np.random.default_rng(5).standard_normal(len(height))
    return np.arange(float(len(height))), np.interp(height, z, celsius) + noise, height


@pytest.mark.parametrize("noise_k", [0.02, 0.05, 0.5])
@pytest.mark.parametrize("path", SOUNDINGS, ids=lambda path: path.stem[:6])
def test_real_air_is_not_taken_for_a_stuck_thermometer(path, noise_k):
    assert not stuck_in_noise(*up_and_down(path, noise_k)).any()


def test_a_thermometer_that_stands_still_in_its_own_noise_is_seen():
    time_s, good, height = up_and_down(SOUNDINGS[0], 0.03)
    noise = 0.03 * np.random.default_rng(6).standard_normal(len(good))
    top = int(np.argmax(height))
    for part, why in (
        (slice(600, top + 50), "a jump when it comes back"),
        (slice(600, len(good)), "no air is like that for 28 km"),
        (slice(1200, 1800), "20 K colder air when it comes back"),
    ):
        frozen = good.copy()
        frozen[part] = good[part.start] + noise[part]
        stuck = stuck_in_noise(time_s, frozen, height)
        assert stuck[part].all() and stuck.sum() <= part.stop - part.start + 20, why
    # Without a jump, as it comes back in a gap of the data: the way down, up to 30 K colder, tells.
    frozen = good.copy()
    frozen[1500:2600] = good[1500] + noise[1500:2600]
    kept = np.delete(np.arange(len(good)), slice(2600, 2700))
    assert stuck_in_noise(time_s[kept], frozen[kept], height[kept])[1500:2600].all()


def test_the_standard_atmospheres_one_temperature_and_a_float_are_no_fault():
    # ISO 2533: 216.65 K from 11 to 20 km.
    height = np.concatenate([np.arange(0.0, 22_000.0, 5.0), np.full(3000, 22_000.0)])
    air = standard_temperature_k(height) + 0.03 * np.random.default_rng(7).standard_normal(len(height))
    assert not stuck_in_noise(np.arange(float(len(height))), air, height).any()
    for few in (0, 3, 50):
        assert not stuck_in_noise(np.arange(float(few)), np.zeros(few), np.zeros(few)).any()
