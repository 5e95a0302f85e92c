"""The rough shape of flights: what is a climb, and where it begins."""

import numpy as np
import pytest

from ground.analyse.phases import find_phases
from ground.analyse.series import Series


def heights(*corners, step_s=1.0, noise_m=1.0):
    """A Series of heights along straight lines between (time_s, height_m) corners."""
    times, levels = zip(*corners, strict=True)
    time_s = np.arange(times[0], times[-1], step_s)
    height_m = np.interp(time_s, times, levels) + np.random.default_rng(2).normal(0, noise_m, len(time_s))
    none = np.zeros(len(time_s), int)
    return Series(time_s, {"height_m": height_m}, none, none, "made.height_m")


FLIGHT = ((5000, 900), (9000, 20_900), (9600, 8900), (11_000, 400), (11_500, 400))


def test_a_climb_begins_where_the_ground_ends():
    phases = find_phases(heights((4000, 900), *FLIGHT))
    assert phases.climb_s == pytest.approx(5000, abs=35)
    assert phases.top_s == pytest.approx(9000, abs=10)
    assert phases.rest_s == pytest.approx(11_000, abs=35)


def test_a_cable_car_before_the_launch_is_no_part_of_the_climb():
    phases = find_phases(heights((0, 300), (1000, 300), (1120, 900), *FLIGHT))
    assert phases.climb_s == pytest.approx(5000, abs=35)


@pytest.mark.parametrize("pause_s", [40, 200, 500])
def test_a_pause_in_the_air_does_not_begin_a_new_climb(pause_s):
    wave = ((4000, 900), (5000, 900), (5200, 1900), (5200 + pause_s, 1900), (9000 + pause_s, 20_900))
    phases = find_phases(heights(*wave, (11_000 + pause_s, 400), (11_500 + pause_s, 400)))
    assert phases.climb_s == pytest.approx(5000, abs=35)


@pytest.mark.parametrize(
    "corners, reason",
    [
        (((0, 100), (600, 100)), "300 m above"),
        (((0, 100), (600, 100), (700, 350), (900, 100)), "300 m above"),  # a mast, a hill
        (((0, 100), (3000, 800), (3600, 800)), "too slow"),  # a mountain road
        (((0, 9000), (1500, 100), (1600, 100)), "only a fall"),
    ],
)
def test_what_is_no_climb_is_said_to_be_none(corners, reason):
    phases = find_phases(heights(*corners))
    assert phases.climb_s is None and phases.top_s is None and reason in phases.no_flight


def test_a_payload_that_still_falls_is_not_at_rest():
    phases = find_phases(heights((4000, 900), *FLIGHT[:3]))
    assert phases.rest_s is None and "before the payload lies still" in phases.no_rest


def test_no_heights_are_no_flight():
    phases = find_phases(heights((0, 0), (2, 0)))
    assert "no heights" in phases.no_flight
