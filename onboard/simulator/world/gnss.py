"""What a satellite receiver would say: NMEA 0183 sentences once a second.

Fields after the u-blox 8 / M8 receiver description, "NMEA protocol": RMC, GGA and the vendor's own
PUBX,00, which alone carries the vertical velocity (positive downwards).
"""

from datetime import timedelta
from functools import reduce

import numpy as np

from onboard.simulator.world.chance import gauss_markov, generator
from onboard.simulator.world.integrate import FlightError

GEOID_SEPARATION_M = 43.5  # about right for the Great Hungarian Plain; constant over a flight
# Of a u-blox receiver whose dynamic model is "portable", as after power-on; airborne ones reach 50 km and more. Source:
# integration manual of the generation 10, "Dynamic platform", details of the models.
PORTABLE_CEILING_M = 12000.0
_KNOT_M_S = 1852.0 / 3600.0
_TIME_KNOWN_S = 12  # a cold receiver has the time some seconds before it has a position
_FIRST_FIX_S = (33, 38)
_NOISE_TIME_CONSTANT_S = 60.0
_VERTICAL_FACTOR = 1.6
_WHITE_NOISE_M = 0.15
_VELOCITY_NOISE_M_S = 0.07
_SLOWEST_COURSE_M_S = 0.15  # below this speed the receiver leaves the course empty in RMC


def gnss_sentences(truth, mission, seed):
    """Make the receiver's output.

    truth: a Truth. mission: its Mission (section gnss). seed: int, 0 or more.
    Returns a list of bytes; entry k is the text of the epoch at k s after power-on: the sentences
    $GNRMC, $GNGGA and $PUBX,00, each ended by CR LF. When it is sent is the caller's business.
    Raises FlightError when the mission asks for another kind of receiver.
    """
    if mission.gnss.chip not in ("nmea", "ubx"):
        raise FlightError(f"gnss.chip {mission.gnss.chip!r} is not simulated; use 'nmea' or 'ubx'")
    random = generator(seed, "gnss")
    seconds = np.arange(int(truth.time_s[-1] + 1e-6) + 1)
    state = _with_noise(truth, seconds, mission.gnss.noise_m, random)
    first_fix_s = int(random.integers(*_FIRST_FIX_S, endpoint=True))
    height_m = np.interp(seconds, truth.time_s, truth.height_m)
    ceiling_m = mission.gnss.ceiling_m
    fixed = (seconds >= first_fix_s) & ((height_m <= ceiling_m) | (ceiling_m <= 0.0))
    epochs = []
    for second in seconds.tolist():
        utc = truth.start_utc + timedelta(seconds=second)
        clock = f"{utc:%H%M%S}.{utc.microsecond // 10000:02d}" if second >= _TIME_KNOWN_S else ""
        date = f"{utc:%d%m%y}" if second >= _TIME_KNOWN_S else ""
        if fixed[second]:
            bodies = _fix(clock, date, {name: values[second] for name, values in state.items()})
        else:
            bodies = _no_fix(clock, date)
        epochs.append(b"".join(sentence(body) for body in bodies))
    return epochs


def sentence(body):
    """Frame the text between $ and * as an NMEA 0183 sentence (bytes) with check sum and CR LF."""
    check = reduce(lambda total, byte: total ^ byte, body.encode("ascii"), 0)
    return b"$%s*%02X\r\n" % (body.encode("ascii"), check)


def _with_noise(truth, seconds, noise_m, random):
    """Everything that a fix says, by name: arrays (n,)."""
    samples = len(seconds)

    def wander(size_m):
        slow = gauss_markov(random, samples, 1.0, _NOISE_TIME_CONSTANT_S, size_m)
        return slow + random.standard_normal(samples) * _WHITE_NOISE_M

    def at(values):
        return np.interp(seconds, truth.time_s, values)

    # Metres to degrees on a sphere will do for an error of some metres.
    metres_a_degree = 111195.0
    latitude = at(truth.latitude_deg) + wander(noise_m) / metres_a_degree
    # Unwrapped, because a longitude between 179.9 and -179.9 is not 0.
    longitude = at(np.unwrap(truth.longitude_deg, period=360.0))
    longitude = longitude + wander(noise_m) / (metres_a_degree * np.cos(np.radians(latitude)))
    height_m = at(truth.height_m) + wander(noise_m * _VERTICAL_FACTOR)
    velocity = [
        at(values) + random.standard_normal(samples) * _VELOCITY_NOISE_M_S
        for values in (truth.velocity_east_m_s, truth.velocity_north_m_s, truth.velocity_up_m_s)
    ]
    satellites = np.clip(np.rint(11.0 + gauss_markov(random, samples, 1.0, 120.0, 1.3)), 8, 14)
    hdop = 0.75 + 0.1 * (14.0 - satellites) + gauss_markov(random, samples, 1.0, 30.0, 0.02)
    return {
        "latitude": latitude,
        "longitude": (longitude + 180.0) % 360.0 - 180.0,
        "height_m": height_m,
        "speed_m_s": np.hypot(velocity[0], velocity[1]),
        "course": np.degrees(np.arctan2(velocity[0], velocity[1])) % 360.0,
        "down_m_s": -velocity[2],
        "satellites": satellites.astype(int),
        "hdop": np.clip(hdop, 0.7, 1.4),
        "accuracy_m": np.full(samples, noise_m),
    }


def _fix(clock, date, now):
    """The three sentences of an epoch with a fix."""
    place = f"{angle_fields(now['latitude'], 2, 'NS')},{angle_fields(now['longitude'], 3, 'EW')}"
    speed, hdop, used = now["speed_m_s"], now["hdop"], now["satellites"]
    course = _course(now["course"])
    rmc_course = course if speed >= _SLOWEST_COURSE_M_S else ""
    accuracy = now["accuracy_m"] * hdop
    return (
        f"GNRMC,{clock},A,{place},{speed / _KNOT_M_S:.3f},{rmc_course},{date},,,A",
        f"GNGGA,{clock},{place},1,{used:02d},{hdop:.2f},{now['height_m']:.1f},M,{GEOID_SEPARATION_M:.1f},M,,",
        f"PUBX,00,{clock},{place},{now['height_m'] + GEOID_SEPARATION_M:.3f},G3,"
        f"{accuracy:.1f},{accuracy * _VERTICAL_FACTOR:.1f},{speed * 3.6:.3f},{course},"
        f"{now['down_m_s']:.3f},,{hdop:.2f},{hdop * _VERTICAL_FACTOR:.2f},{hdop * 0.7:.2f},{used},0,0",
    )


def _no_fix(clock, date):
    # PUBX,00 is the trap that it really is: zeros that look like a place in the Gulf of Guinea,
    # at rest; only NF (no fix) in the ninth field says that they mean nothing.
    return (
        f"GNRMC,{clock},V,,,,,,,{date},,,N",
        f"GNGGA,{clock},,,,,0,00,99.99,,,,,,",
        f"PUBX,00,{clock},0000.00000,N,00000.00000,E,0.000,NF,5303302,3750001,0.000,0.00,0.000,,"
        f"99.99,99.99,99.99,0,0,0",
    )


def angle_fields(degrees, digits, signs):
    """Degrees as (d)ddmm.mmmmm and the letter of the hemisphere."""
    # Counted in whole 1e-5 minutes, so that 59.999999 minutes cannot round to 60.
    units = round(abs(degrees) * 60.0e5)
    whole, minutes = divmod(units, 60 * 100000)
    letter = signs[0] if degrees >= 0 else signs[1]
    return f"{whole:0{digits}d}{minutes // 100000:02d}.{minutes % 100000:05d},{letter}"


def _course(degrees):
    return f"{round(degrees, 2) % 360.0:.2f}"
