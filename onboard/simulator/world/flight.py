"""One whole flight: from power-on, over release, burst and landing, to the last quiet minute."""

from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from typing import NamedTuple

import numpy as np

from ground.physics.geodesy import curvature_radii_m
from onboard.simulator.world.air import Air
from onboard.simulator.world.chance import gauss_markov, generator
from onboard.simulator.world.integrate import STEP_S, FlightError
from onboard.simulator.world.mishaps import NO_MISHAPS, Mishaps
from onboard.simulator.world.rest import rest_motion, rest_seconds
from onboard.simulator.world.sounding import Sounding, find_sounding, read_sounding
from onboard.simulator.world.vertical import BURST, up_and_down

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
    burst: Moment | None  # None: it never burst
    landing: Moment
    climb_end: Moment  # the burst, the cut of the line, or the highest point of a balloon that leaked
    climb_ended_by: str  # BURST, CUT or LEAK of vertical.py
    float_s: tuple | None  # from, to on time_s, if it floated
    mishaps: Mishaps
    sounding: Sounding
    air: Air


def fly(mission, seed, wait_s=180.0, after_s=240.0, folder=".", mishaps=NO_MISHAPS):
    """Simulate a mission's flight.

    mission: a Mission. seed: int, 0 or more; it decides the gusts. wait_s: time on the ground
    between power-on and release, which is at mission.launch.utc. after_s: time on the ground
    after landing. Both are rounded to 0.1 s. folder: where mission.sounding is looked for.
    mishaps: what befalls it; after a carrying off the record goes on for five minutes.
    Returns a Truth. Raises SoundingError (no or bad sounding) or FlightError (the balloon
    cannot fly, or launch.utc is no time).
    """
    launch = mission.launch
    _check_launch(launch)
    start_utc = _utc(launch.utc)
    sounding = read_sounding(find_sounding(mission.sounding, folder))
    air = Air(sounding)
    random = generator(seed, "gusts")
    updraught, gust_east, gust_north = (
        gauss_markov(random, _LONGEST_FLIGHT_S, 1.0, _GUST_TIME_CONSTANT_S, size)
        for size in (_UPDRAUGHT_M_S, _GUST_M_S, _GUST_M_S)
    )
    seconds = np.arange(_LONGEST_FLIGHT_S, dtype=float)
    updraught = updraught * np.minimum(seconds / _CALM_RELEASE_S, 1.0)
    up_down = up_and_down(mission, air, updraught, mishaps)
    height_m, speed_m_s = up_down.height_m[::_STEPS_A_SAMPLE], up_down.speed_m_s[::_STEPS_A_SAMPLE]
    aloft = np.arange(len(height_m)) * SAMPLE_S < up_down.landing_s
    height_m, speed_m_s = height_m[aloft], speed_m_s[aloft]

    flight_s = np.arange(len(height_m)) * SAMPLE_S
    wind_east, wind_north = air.wind_m_s(height_m)
    east_m_s = wind_east + np.interp(flight_s, seconds, gust_east)
    north_m_s = wind_north + np.interp(flight_s, seconds, gust_north)

    latitude, longitude = _track(launch.latitude_deg, launch.longitude_deg, height_m, east_m_s, north_m_s)
    waiting, resting = round(wait_s / SAMPLE_S), round(rest_seconds(mishaps, after_s) / SAMPLE_S)
    rest_m, *rest_m_s = rest_motion(mishaps, resting, SAMPLE_S)
    rest_m = up_down.landing_m + rest_m
    still = np.zeros(waiting)
    east_m_s, north_m_s, speed_m_s = (
        np.concatenate([still, part, after]) for part, after in zip((east_m_s, north_m_s, speed_m_s), rest_m_s)
    )
    rest_places = _track(latitude[-1], longitude[-1], rest_m, *rest_m_s[:2])
    latitude, longitude = (
        np.concatenate([still + part[0], part, after]) for part, after in zip((latitude, longitude), rest_places)
    )
    height_m = np.concatenate([still + launch.height_m, height_m, rest_m])
    time_s = np.arange(len(height_m)) / round(1 / SAMPLE_S)

    def moment(since_release_s, at_height_m):
        when_s = waiting * SAMPLE_S + since_release_s
        where = [float(np.interp(when_s, time_s, part)) for part in (latitude, longitude)]
        return Moment(round(float(when_s), 6), where[0], _wrapped(where[1]), at_height_m)

    climb_end = moment(up_down.end_s, up_down.end_m)
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
        burst=climb_end if up_down.ends == BURST else None,
        landing=moment(up_down.landing_s, up_down.landing_m),
        climb_end=climb_end,
        climb_ended_by=up_down.ends,
        float_s=up_down.float_s and tuple(waiting * SAMPLE_S + part_s for part_s in up_down.float_s),
        mishaps=mishaps,
        sounding=sounding,
        air=air,
    )


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
