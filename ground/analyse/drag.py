"""Bodies that fall through air: speed, mass over drag area, and how one follows from the other."""

import numpy as np


def terminal_speed_m_s(ballistic_kg_m2, density_kg_m3, gravity=9.80665):
    """Give the speed at which drag balances weight: the square root of 2 g B / density, B = mass over
    (drag coefficient times area).

    Scalars or arrays that broadcast: kg/m2, kg/m3, m/s2. Returns m/s.
    Source: the drag equation, e.g. F. M. White, Fluid Mechanics, chapter 7 (external flows).
    """
    return np.sqrt(2.0 * gravity * np.asarray(ballistic_kg_m2) / np.asarray(density_kg_m3))


def settled_speed_m_s(ballistic_kg_m2, density_kg_m3, gravity=9.80665, scale_height_m=7000.0):
    """Give the speed of a body that has settled into its fall through air that grows denser on the way down.

    Arguments and result as terminal_speed_m_s; scale_height_m: in which the density changes by a factor e. The
    body is a little faster than its terminal speed, because it must lose speed all the time: with v^2 inverse to
    the density, Newton's second law gives v^2 = 2 g B / (density - B / scale height). NaN where nothing settles,
    as the air is too thin for that.
    """
    ballistic, density = np.asarray(ballistic_kg_m2), np.asarray(density_kg_m3)
    left = density - ballistic / scale_height_m
    return np.sqrt(2.0 * gravity * ballistic / np.where(left > 0.3 * density, left, np.nan))[()]


def ballistic_coefficient(speed_m_s, acceleration_m_s2, density_kg_m3, gravity=9.80665):
    """Give mass over drag area of a body that falls: density v^2 / (2 (g - a)).

    speed_m_s downwards through the air, acceleration_m_s2 downwards: the fall into denser air slows down, so
    drag is a little more than weight. Scalars or arrays. Returns kg/m2. Source: Newton's second law with the
    drag equation; without acceleration it is the inverse of terminal_speed_m_s.
    """
    speed = np.asarray(speed_m_s)
    return density_kg_m3 * speed * np.abs(speed) / (2.0 * (gravity - np.asarray(acceleration_m_s2)))
