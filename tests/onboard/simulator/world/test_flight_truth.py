"""The whole flight: plausible, self-consistent, repeatable."""

from dataclasses import replace
from datetime import datetime, timedelta, timezone

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from ground.physics.atmosphere import geopotential_height_m
from onboard.simulator.world.flight import Truth, fly
from onboard.simulator.world.integrate import FlightError
from onboard.simulator.world.sounding import SoundingError, find_sounding, read_sounding


def arrays(truth):
    return {name: value for name, value in vars(truth).items() if isinstance(value, np.ndarray)}


def test_all_arrays_are_at_ten_hertz_from_power_on(truth):
    count = len(truth.time_s)
    np.testing.assert_allclose(truth.time_s, np.arange(count) * 0.1, atol=1e-9)
    for name, values in arrays(truth).items():
        assert values.shape == (count,), name
        assert np.isfinite(values).all(), name


def test_release_is_at_the_missions_time_and_place(truth, mission):
    assert truth.start_utc == datetime(2026, 11, 21, 9, 27, tzinfo=timezone.utc)
    assert truth.release.time_s == 180.0
    released = truth.start_utc + timedelta(seconds=truth.release.time_s)
    assert released == datetime.fromisoformat(mission.launch.utc)
    assert truth.release.latitude_deg == pytest.approx(mission.launch.latitude_deg, abs=1e-9)
    assert truth.release.longitude_deg == pytest.approx(mission.launch.longitude_deg, abs=1e-9)
    assert truth.release.height_m == mission.launch.height_m


def test_the_demo_flies_as_such_flights_do(truth):
    # Common practice, no source: climb about 5 m/s, burst between 24 and 33 km, 5 m/s near the ground.
    climb_s = truth.burst.time_s - truth.release.time_s
    assert 4.5 < (truth.burst.height_m - truth.release.height_m) / climb_s < 5.7
    assert 29000.0 < truth.burst.height_m < 31000.0
    assert 2.0 < (truth.landing.time_s - truth.release.time_s) / 3600.0 < 2.5
    last_minute = (truth.time_s > truth.landing.time_s - 60.0) & (truth.time_s < truth.landing.time_s)
    assert 4.3 < -truth.velocity_up_m_s[last_minute].mean() < 5.6
    assert truth.velocity_up_m_s.min() < -30.0  # several times faster just after the burst


def test_the_coldest_air_is_the_soundings(truth):
    # Praha 2007-11-20: -72.05 degC at 26361 geopotential metres, its coldest level.
    coldest = truth.temperature_k.argmin()
    assert truth.temperature_k[coldest] == pytest.approx(273.15 - 72.05, abs=0.1)
    assert geopotential_height_m(truth.height_m[coldest]) == pytest.approx(26361.0, abs=30.0)


def test_the_burst_ends_the_climb(truth):
    rising = (truth.time_s > truth.release.time_s + 1.0) & (truth.time_s < truth.burst.time_s - 0.1)
    assert truth.velocity_up_m_s[rising].min() > 0.5
    assert truth.height_m.max() == pytest.approx(truth.burst.height_m, abs=10.0)
    assert truth.time_s[truth.height_m.argmax()] - truth.burst.time_s < 2.0  # thrown up a little
    assert truth.burst.height_m == pytest.approx(
        np.interp(truth.burst.time_s, truth.time_s, truth.height_m), abs=0.05
    )


def test_before_release_and_after_landing_nothing_moves(truth, mission):
    waiting = truth.time_s < truth.release.time_s
    resting = truth.time_s >= truth.landing.time_s
    assert waiting.sum() == 1800 and resting.sum() == 2400
    for still, height_m in ((waiting, mission.launch.height_m), (resting, mission.launch.landing_height_m)):
        assert np.all(truth.height_m[still] == height_m)
        for name in ("velocity_east_m_s", "velocity_north_m_s", "velocity_up_m_s"):
            assert np.all(getattr(truth, name)[still] == 0.0)
        assert np.ptp(truth.latitude_deg[still]) == 0.0
    assert truth.landing.latitude_deg == pytest.approx(truth.latitude_deg[-1], abs=1e-6)


def test_velocity_is_the_rate_of_change_of_height(truth):
    moving = (truth.time_s > 200.0) & (truth.time_s < truth.burst.time_s - 1.0)
    rate = np.gradient(truth.height_m, truth.time_s)
    np.testing.assert_allclose(rate[moving], truth.velocity_up_m_s[moving], atol=0.02)


def test_positions_move_with_the_velocity_on_the_ellipsoid(truth):
    # geographiclib, over every tenth minute of flight: distance over ten seconds against the
    # velocity, corrected for the height, at which a degree is longer than on the ground.
    for index in range(2000, int(truth.landing.time_s * 10) - 200, 6000):
        ahead = index + 100
        line = Geodesic.WGS84.Inverse(
            truth.latitude_deg[index], truth.longitude_deg[index],
            truth.latitude_deg[ahead], truth.longitude_deg[ahead],
        )  # fmt: skip
        span = slice(index, ahead + 1)
        east = np.trapezoid(truth.velocity_east_m_s[span], dx=0.1)
        north = np.trapezoid(truth.velocity_north_m_s[span], dx=0.1)
        radius_m = 6371e3
        expected = np.hypot(east, north) * radius_m / (radius_m + truth.height_m[span].mean())
        assert line["s12"] == pytest.approx(expected, rel=2e-4, abs=0.01)
        turn = (line["azi1"] - np.degrees(np.arctan2(east, north)) + 180.0) % 360.0 - 180.0
        assert abs(turn) < 0.05


def test_the_drift_of_the_climb_is_the_soundings_wind_summed_up(truth, mission):
    # Straight from the sounding's levels: wind times the time spent between levels.
    sounding = read_sounding(find_sounding(mission.sounding))
    known = ~np.isnan(sounding.wind_speed_m_s)
    level_m = sounding.geopotential_height_m[known]
    towards = np.radians(sounding.wind_from_deg[known] + 180.0)
    climbing = (truth.time_s >= truth.release.time_s) & (truth.time_s < truth.burst.time_s)
    passed_s = np.interp(level_m, geopotential_height_m(truth.height_m[climbing]), truth.time_s[climbing])
    east = np.trapezoid(sounding.wind_speed_m_s[known] * np.sin(towards), passed_s)
    north = np.trapezoid(sounding.wind_speed_m_s[known] * np.cos(towards), passed_s)
    line = Geodesic.WGS84.Inverse(*truth.release[1:3], *truth.burst[1:3])
    flown_east = line["s12"] * np.sin(np.radians(line["azi1"]))
    flown_north = line["s12"] * np.cos(np.radians(line["azi1"]))
    # Gusts average out to some hundred metres in 95 km, and the first 208 m are below the sounding.
    assert flown_east == pytest.approx(east, abs=800.0)
    assert flown_north == pytest.approx(north, abs=800.0)


def test_the_same_seed_flies_the_same_flight(truth, mission):
    again = fly(mission, 1)
    for name, values in arrays(truth).items():
        assert values.tobytes() == getattr(again, name).tobytes(), name
    assert (again.release, again.burst, again.landing) == (truth.release, truth.burst, truth.landing)


def test_another_seed_flies_another_flight(truth, mission):
    other = fly(mission, 2)
    assert other.landing != truth.landing
    distance_m = Geodesic.WGS84.Inverse(*other.landing[1:3], *truth.landing[1:3])["s12"]
    assert 1.0 < distance_m < 5000.0


def test_waiting_times_are_the_callers(mission):
    short = fly(mission, 1, wait_s=0.0, after_s=1.0)
    assert short.release.time_s == 0.0
    assert short.start_utc == datetime.fromisoformat(mission.launch.utc)
    assert short.time_s[-1] - short.landing.time_s < 1.1
    assert short.height_m[0] == mission.launch.height_m


@pytest.mark.parametrize("name", ["lamont", "darwin", "koror"])
def test_other_climates_fly_too(mission, real_soundings, name):
    path = next(path for path in real_soundings if name in path.name)
    flight = fly(replace(mission, sounding=str(path)), 3)
    assert isinstance(flight, Truth)
    assert 25000.0 < flight.burst.height_m < 34000.0
    assert flight.pressure_pa.min() < 2000.0


def test_a_flight_across_the_date_line_stays_within_180_degrees(mission):
    east_end = replace(mission.launch, longitude_deg=179.9)
    flight = fly(replace(mission, launch=east_end), 1)
    assert np.abs(flight.longitude_deg).max() <= 180.0
    assert flight.landing.longitude_deg < -178.0
    assert flight.burst.longitude_deg == pytest.approx(
        flight.longitude_deg[int(flight.burst.time_s * 10)], abs=1e-4
    )


@pytest.mark.parametrize(
    "section, change, error, words",
    [
        ("launch", {"utc": "tomorrow"}, FlightError, "launch.utc must be a time like"),
        ("launch", {"utc": "2026-05-16T08:30:00"}, FlightError, "launch.utc"),
        ("launch", {"latitude_deg": 97.0}, FlightError, "launch.latitude_deg must be from"),
        ("launch", {"height_m": float("nan")}, FlightError, "launch.height_m"),
        ("balloon", {"free_lift_kg": 0.0}, FlightError, "free_lift_kg"),
        (None, "absent.csv", SoundingError, "absent.csv: no such sounding"),
    ],
)
def test_a_mission_that_cannot_fly_says_why(mission, section, change, error, words):
    if section is None:
        bad = replace(mission, sounding=change)
    else:
        bad = replace(mission, **{section: replace(getattr(mission, section), **change)})
    with pytest.raises(error, match=words):
        fly(bad, 1)


def test_a_relative_sounding_is_looked_for_beside_the_mission(mission, real_soundings):
    path = next(path for path in real_soundings if "koror" in path.name)
    flight = fly(replace(mission, sounding=path.name), 1, folder=path.parent)
    assert flight.temperature_k[0] > 295.0
