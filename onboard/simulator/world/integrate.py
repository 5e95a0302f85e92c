"""One integrator for every part of a flight, and the tables that it flies through."""

from dataclasses import dataclass

import numpy as np

TABLE_STEP_M = 5.0
_TABLE_TOP_M = 60000.0
STEP_S = 0.05


class FlightError(ValueError):
    """A mission that cannot fly; the message says why and which key to change."""


@dataclass(frozen=True)
class Motion:
    """One part of a flight as tables over height from bottom_m upwards in steps of TABLE_STEP_M."""

    bottom_m: float
    lift_m_s2: np.ndarray  # (n,) acceleration at rest relative to the air
    resistance_per_m: np.ndarray  # (n,) deceleration is this times the speed squared

    def acceleration(self):
        """A function of height m, speed relative to the air m/s and time s, for integrate(); m/s2."""
        lift, resistance = self.lift_m_s2.tolist(), self.resistance_per_m.tolist()
        bottom, inverse_step, last = self.bottom_m, 1.0 / TABLE_STEP_M, len(lift) - 2

        def at(height, relative, _):
            place = (height - bottom) * inverse_step
            index = min(max(int(place), 0), last)
            share = place - index
            here = resistance[index] + share * (resistance[index + 1] - resistance[index])
            return lift[index] + share * (lift[index + 1] - lift[index]) - here * relative * abs(relative)

        return at


def table_heights_m(bottom_m):
    """Heights of the tables of a Motion that starts at bottom_m, up to 60 km."""
    return np.arange(bottom_m, _TABLE_TOP_M, TABLE_STEP_M)


def integrate(motion, height_m, speed_m_s, end_height_m, updraught_m_s, start_s=0.0, until_s=None):
    """Fly until a height is passed, or a time.

    motion: a Motion, or whatever has such a function acceleration(). height_m, speed_m_s: the start. end_height_m:
    above the start for a climb, below it for a fall. updraught_m_s: vertical motion of the air, one value a second
    of flight, linear between them, from time zero; start_s: the time in it at which this part starts; until_s: the
    time in it at which this part ends at the latest, if any.
    Returns (heights, speeds, duration): float arrays at steps of STEP_S including the start and
    the first state beyond the end; duration_s is when the end height was passed, linear within
    the last step, or the time reached. Raises FlightError when the updraughts run out first.
    Method: explicit midpoint rule (second order).
    """
    acceleration = motion.acceleration()
    gusts = updraught_m_s.tolist()
    climbing = end_height_m > height_m
    heights, speeds = [height_m], [speed_m_s]
    steps = int((len(gusts) - 2 - start_s) / STEP_S)
    last = steps if until_s is None else min(steps, round((until_s - start_s) / STEP_S))
    for step in range(last):
        time_s = start_s + (step + 0.5) * STEP_S
        second = int(time_s)
        gust = gusts[second] + (time_s - second) * (gusts[second + 1] - gusts[second])
        middle_speed = speed_m_s + 0.5 * STEP_S * acceleration(height_m, speed_m_s - gust, time_s)
        middle_height = height_m + 0.5 * STEP_S * speed_m_s
        speed_m_s += STEP_S * acceleration(middle_height, middle_speed - gust, time_s)
        height_m += STEP_S * middle_speed
        heights.append(height_m)
        speeds.append(speed_m_s)
        if (height_m >= end_height_m) if climbing else (height_m <= end_height_m):
            within = (end_height_m - heights[-2]) / (height_m - heights[-2])
            return np.array(heights), np.array(speeds), (step + within) * STEP_S
    if last < steps:
        return np.array(heights), np.array(speeds), last * STEP_S
    hours = len(gusts) / 3600
    raise FlightError(f"the flight takes longer than {hours:.0f} hours; check balloon.free_lift_kg")
