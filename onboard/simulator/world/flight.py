"""One whole flight: from power-on, over release, burst and landing, to the last quiet minute."""

from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from typing import NamedTuple

import numpy as np

from ground.physics.geodesy import curvature_radii_m
from onboard.simulator.world.air import Air
from onboard.simulator.world.balloon import STEP_S, FlightError, climb_motion, fall_motion, integrate
from onboard.simulator.world.chance import gauss_markov, generator
from onboard.simulator.world.sounding import find_sounding, read_sounding

SAMPLE_S = 0.1
_STEPS_A_SAMPLE = round(SAMPLE_S / STEP_S)
_LONGEST_FLIGHT_S = 6 * 3600
# Gusts: small eddies that the sounding's levels do not show. Sizes are guesses, no source.
_GUST_M_S = 0.6
_UPDRAUGHT_M_S = 0.25
_GUST_TIME_CONSTANT_S = 20.0
# A team releases in a calm moment: the updraughts grow over this time from nothing.
_CALM_RELEASE_S = 60.0


class Moment(NamedTuple):
    """When and where something happened; time from power-on, height above mean sea level."""

    time_s: float
    latitude_deg: float
    longitude_deg: float
    height_m: float


@dataclass(frozen=True)
class Truth:
    """What really happened; float arrays (n,) at 10 Hz from power-on."""

    start_utc: datetime  # of time_s = 0
    time_s: np.ndarray
    latitude_deg: np.ndarray
    longitude_deg: np.ndarray
    height_m: np.ndarray  # geometric, above mean sea level
    velocity_east_m_s: np.ndarray
    velocity_north_m_s: np.ndarray
    velocity_up_m_s: np.ndarray
    pressure_pa: np.ndarray
    temperature_k: np.ndarray  # of the air
    relative_humidity_percent: np.ndarray  # over liquid water
    air_density_kg_m3: np.ndarray
    release: Moment
    burst: Moment
    landing: Moment


def fly(mission, seed, wait_s=180.0, after_s=240.0, folder="."):
    """Simulate a mission's flight.

    mission: a Mission. seed: int, 0 or more; it decides the gusts. wait_s: time on the ground
    between power-on and release, which is at mission.launch.utc. after_s: time on the ground
    after landing. Both are rounded to 0.1 s. folder: where mission.sounding is looked for.
    Returns a Truth. Raises SoundingError (no or bad sounding) or FlightError (the balloon
    cannot fly, or launch.utc is no time).
    """
    launch = mission.launch
    _check_launch(launch)
    start_utc = _utc(launch.utc)
    air = Air(read_sounding(find_sounding(mission.sounding, folder)))
    random = generator(seed, "gusts")
    updraught, gust_east, gust_north = (
        gauss_markov(random, _LONGEST_FLIGHT_S, 1.0, _GUST_TIME_CONSTANT_S, size)
        for size in (_UPDRAUGHT_M_S, _GUST_M_S, _GUST_M_S)
    )
    seconds = np.arange(_LONGEST_FLIGHT_S, dtype=float)
    updraught = updraught * np.minimum(seconds / _CALM_RELEASE_S, 1.0)
    height_m, speed_m_s, burst_height_m, burst_s, landing_s = _up_and_down(mission, air, updraught)

    flight_s = np.arange(len(height_m)) * SAMPLE_S
    wind_east, wind_north = air.wind_m_s(height_m)
    east_m_s = wind_east + np.interp(flight_s, seconds, gust_east)
    north_m_s = wind_north + np.interp(flight_s, seconds, gust_north)

    latitude, longitude = _track(launch.latitude_deg, launch.longitude_deg, height_m, east_m_s, north_m_s)
    waiting, resting = round(wait_s / SAMPLE_S), round(after_s / SAMPLE_S)
    still = (waiting, resting)
    east_m_s, north_m_s, speed_m_s = (np.pad(part, still) for part in (east_m_s, north_m_s, speed_m_s))
    latitude, longitude = (np.pad(part, still, mode="edge") for part in (latitude, longitude))
    ends_m = (launch.height_m, launch.landing_height_m)
    height_m = np.pad(height_m, still, constant_values=ends_m)
    time_s = np.arange(len(height_m)) / round(1 / SAMPLE_S)

    def moment(since_release_s, at_height_m):
        when_s = waiting * SAMPLE_S + since_release_s
        where = [float(np.interp(when_s, time_s, part)) for part in (latitude, longitude)]
        return Moment(round(float(when_s), 6), where[0], _wrapped(where[1]), at_height_m)

    return Truth(
        start_utc=start_utc - timedelta(seconds=waiting * SAMPLE_S),
        time_s=time_s,
        latitude_deg=latitude,
        longitude_deg=_wrapped(longitude),
        height_m=height_m,
        velocity_east_m_s=east_m_s,
        velocity_north_m_s=north_m_s,
        velocity_up_m_s=speed_m_s,
        pressure_pa=air.pressure_pa(height_m),
        temperature_k=air.temperature_k(height_m),
        relative_humidity_percent=air.relative_humidity_percent(height_m),
        air_density_kg_m3=air.density_kg_m3(height_m),
        release=moment(0.0, launch.height_m),
        burst=moment(burst_s, burst_height_m),
        landing=moment(landing_s, launch.landing_height_m),
    )


def _up_and_down(mission, air, updraught_m_s):
    """Vertical flight: heights and speeds at SAMPLE_S from release to just before the landing,
    the height of the burst, and the times of burst and landing since release."""
    launch, payload_kg = mission.launch, mission.payload.mass_kg
    climb, burst_height_m = climb_motion(air, mission.balloon, payload_kg, launch.height_m)
    if burst_height_m <= launch.landing_height_m:
        raise FlightError("the balloon bursts below launch.landing_height_m; check both")
    fall = fall_motion(air, payload_kg, mission.parachute.drag_area_m2, launch.landing_height_m)
    up_m, up_m_s, burst_s = integrate(climb, launch.height_m, 0.0, burst_height_m, updraught_m_s)
    # The fall starts from the step that passed the burst height, within STEP_S of the burst.
    climb_s = (len(up_m) - 1) * STEP_S
    down_m, down_m_s, fall_s = integrate(
        fall, up_m[-1], up_m_s[-1], launch.landing_height_m, updraught_m_s, climb_s
    )
    height_m = np.concatenate([up_m, down_m[1:]])[::_STEPS_A_SAMPLE]
    speed_m_s = np.concatenate([up_m_s, down_m_s[1:]])[::_STEPS_A_SAMPLE]
    aloft = np.arange(len(height_m)) * SAMPLE_S < climb_s + fall_s
    return height_m[aloft], speed_m_s[aloft], burst_height_m, burst_s, climb_s + fall_s


def _track(latitude_deg, longitude_deg, height_m, east_m_s, north_m_s):
    """Positions from a start and velocities at SAMPLE_S, by the trapezoidal rule."""

    def summed(rate):
        return np.concatenate([[0.0], np.cumsum((rate[1:] + rate[:-1]) / 2 * SAMPLE_S)])

    latitude = np.full(len(height_m), latitude_deg)
    # The radius needs the latitude that it helps to find; it hardly changes, so two rounds settle it.
    for _ in range(2):
        meridian_m, _ = curvature_radii_m(latitude)
        latitude = latitude_deg + np.degrees(summed(north_m_s / (meridian_m + height_m)))
    _, prime_vertical_m = curvature_radii_m(latitude)
    parallel_m = (prime_vertical_m + height_m) * np.cos(np.radians(latitude))
    longitude = longitude_deg + np.degrees(summed(east_m_s / parallel_m))
    return latitude, longitude


def _wrapped(longitude_deg):
    return (longitude_deg + 180.0) % 360.0 - 180.0


def _check_launch(launch):
    for key, lowest, highest in (
        ("latitude_deg", -89.9, 89.9),
        ("longitude_deg", -180.0, 180.0),
        ("height_m", -430.0, 9000.0),
        ("landing_height_m", -430.0, 9000.0),
    ):
        given = getattr(launch, key)
        if not lowest <= given <= highest:
            raise FlightError(f"launch.{key} must be from {lowest:g} to {highest:g}, not {given}")


def _utc(text):
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise FlightError(f"launch.utc must be a time like 2026-05-16T08:30:00Z, not {text!r}")
    return moment.astimezone(timezone.utc)
