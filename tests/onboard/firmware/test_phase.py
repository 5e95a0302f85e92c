"""The flight phase from integer heights, and the height table behind it."""

import math
import random

import fluids
import pytest

from onboard.firmware.phase import (
    CLIMBING, FALLING, LANDED, WAITING, PhaseTracker, barometric_height_m,
)

R0 = 6_356_766.0  # m, earth radius of the standard atmosphere


def geopotential_m(geometric_m):
    return R0 * geometric_m / (R0 + geometric_m)


@pytest.mark.parametrize("geometric_m", range(0, 40_000, 250))
def test_the_height_table_follows_the_standard_atmosphere(geometric_m):
    # Reference: US Standard Atmosphere 1976 as the library fluids computes it.
    pressure = fluids.ATMOSPHERE_1976(geometric_m).P
    height = barometric_height_m(round(pressure))
    rounding = 0.5 / pressure * 8500  # half a pascal is much at 40 km
    assert abs(height - geopotential_m(geometric_m)) < 50 + rounding


def fly(tracker, heights, barometer=True, gnss=True, noise=0, seed=1):
    """Feed heights (m), one a second; returns the list of (second, phase, true height) changes."""
    rng = random.Random(seed)
    changes = []
    for second, height in enumerate(heights):
        heard = [round(height + rng.gauss(0, noise)) for _ in range(2)]
        if tracker.step(heard[0] if barometer else None, heard[1] if gnss else None):
            changes.append((second, tracker.phase, height))
    return changes


def profile(wait_s=300, climb_m_s=5.0, top_m=6000.0, ground_m=96.0, after_s=300):
    heights = [ground_m] * wait_s
    height = ground_m
    while height < top_m:
        height += climb_m_s
        heights.append(height)
    while height > ground_m:
        height = max(ground_m, height - 6.0 - 30.0 * max(0.0, (height - 3000) / 27_000))
        heights.append(height)
    return heights + [ground_m] * after_s


@pytest.mark.parametrize("sources", [(True, True), (True, False), (False, True)])
def test_a_flight_has_its_four_phases_once_each(sources):
    changes = fly(PhaseTracker(WAITING), profile(), *sources, noise=6)
    assert [phase for _, phase, _ in changes] == [CLIMBING, FALLING, LANDED]
    assert changes[0][2] < 96 + 250
    assert 6000 - changes[1][2] < 200
    assert changes[2][2] == 96


def test_noise_on_the_ground_is_no_launch():
    assert fly(PhaseTracker(WAITING), [96.0] * 20_000, noise=15) == []


def test_a_slow_change_of_the_weather_is_no_launch():
    # 30 hPa in 24 h is a strong storm (about 250 m of pressure height); common practice, no source.
    heights = [96 + 250 * second / 86_400 for second in range(86_400)]
    assert fly(PhaseTracker(WAITING), heights) == []


def test_a_downdraught_of_ninety_metres_does_not_end_the_climb():
    heights = profile(top_m=4000)
    dip = [4000 - 90 * math.sin(math.pi * i / 60) for i in range(61)]
    climbing = heights[: heights.index(max(heights)) + 1]
    changes = fly(PhaseTracker(WAITING), climbing + dip + [4000 + 5 * i for i in range(100)])
    assert [phase for _, phase, _ in changes] == [CLIMBING]


@pytest.mark.parametrize("frozen", ["barometer", "gnss"])
@pytest.mark.parametrize("at", [96, 3000])
def test_a_frozen_source_neither_hides_a_phase_nor_invents_one(frozen, at):
    tracker = PhaseTracker(WAITING)
    seen = []
    stopped = False
    for height in profile():
        stopped = stopped or height > at
        stuck = at if stopped else round(height)
        pair = (stuck, round(height)) if frozen == "barometer" else (round(height), stuck)
        if tracker.step(*pair):
            seen.append((tracker.phase, height))
    assert [phase for phase, _ in seen] == [CLIMBING, FALLING, LANDED]
    assert seen[1][1] > 5500  # not long after the top
    assert seen[2][1] == 96  # and landed on the ground


@pytest.mark.parametrize("sources", [(True, True), (True, False), (False, True)])
def test_a_false_landing_is_left_when_the_payload_moves_again(sources):
    changes = fly(PhaseTracker(LANDED), profile(), *sources, noise=4)
    assert [phase for _, phase, _ in changes] == [CLIMBING, FALLING, LANDED]


def test_a_drive_over_a_hill_does_not_spoil_the_flight():
    hill = [96 + 200 * math.sin(math.pi * i / 600) for i in range(601)] + [96.0] * 200
    changes = fly(PhaseTracker(WAITING), hill + profile(), noise=3)
    assert [phase for _, phase, _ in changes][-3:] == [CLIMBING, FALLING, LANDED]
    assert changes[-1][2] == 96 and changes[-2][2] > 5500


def test_silence_of_both_sources_changes_nothing():
    tracker = PhaseTracker(CLIMBING)
    assert fly(tracker, [0] * 1000, barometer=False, gnss=False) == []
    assert tracker.phase == CLIMBING


@pytest.mark.parametrize("phase", [WAITING, CLIMBING])
def test_after_a_reset_in_the_fall_the_phase_is_found(phase):
    heights = profile(top_m=20_000)
    falling = heights[heights.index(max(heights)) + 60 :]
    changes = fly(PhaseTracker(phase), falling, noise=5)
    assert [phase for _, phase, _ in changes] == [FALLING, LANDED]
    assert changes[0][0] < 60


def test_a_false_burst_is_taken_back_while_it_climbs_on():
    tracker = PhaseTracker(FALLING)
    tracker.step(5000, 5000)
    changes = fly(tracker, [5000 + 5 * i for i in range(100)])
    assert [phase for _, phase, _ in changes] == [CLIMBING]
