"""What the box feels when it falls, tumbles and hits the ground. Arguments as in ground.analyse.motion."""

import numpy as np

from ground.analyse.motion import GAP_S, SLOWEST_STEP_S, across, integral, size_g, smoothed
from ground.analyse.series import running_median
from ground.physics.atmosphere import STANDARD_GRAVITY_M_S2

FALL_SETTLED_S = 180.0  # this long after the burst a fall under a parachute is steady (common practice, no source)
CALM_S = 10.0
TUMBLE_DEG_S = 60.0  # a swing alone does not turn the box this fast (common practice, no source)
NEAR_END = 0.995  # of the chip's range: so far off, a reading is at its end


def strongest(time_s, force, start_s, end_s):
    """Give (time, g, samples) of the largest specific force from start_s to end_s; None without a reading there."""
    inside = np.flatnonzero((time_s >= start_s) & (time_s <= end_s))
    if len(inside) == 0:
        return None
    size = size_g(force[inside])
    best = int(np.argmax(size))
    return float(time_s[inside[best]]), float(size[best]), len(inside)


def free_fall_start_s(time_s, force, start_s, end_s, limit_g=0.4, least_s=0.4):
    """When the first free fall begins, s: specific force (median of 3) below limit_g for least_s; or None."""
    inside = (time_s >= start_s) & (time_s <= end_s)
    times = time_s[inside]
    if len(times) < 10:
        return None
    falls = np.concatenate([[False], running_median(size_g(force[inside]), 3) < limit_g, [False]])
    edges = np.flatnonzero(falls[1:] != falls[:-1])
    for first, end in zip(edges[::2], edges[1::2]):
        fallen_s = times[end - 1] - times[first]
        if fallen_s >= least_s and end - first >= 4 and (np.diff(times[first:end]) <= GAP_S).all():
            return float(times[first])
    return None


def time_below_s(time_s, force, start_s, end_s, limit_g):
    """How long the specific force (median of 3) stayed below limit_g in all, from start_s to end_s, s."""
    inside = (time_s >= start_s) & (time_s <= end_s)
    if inside.sum() < 5:
        return 0.0
    steps_s = np.minimum(np.diff(time_s[inside]), GAP_S)
    return float(steps_s[(running_median(size_g(force[inside]), 3) < limit_g)[:-1]].sum())


def tumbling(time_s, rate, up, burst_s, end_s, times_usual=2.0):
    """Find how long and how far the box turned over after the burst: (seconds, turns, greatest rate deg/s).

    rate: zero taken off. Calm begins where the rate about the axes across (root mean square over 5 s) stays for
    CALM_S below times_usual of what is usual later in the fall; turns: that rate integrated until then, over
    360 degrees.
    (0, 0, greatest) if it never turned faster than TUMBLE_DEG_S; None without readings in the first ten seconds, or
    too few later on.
    """
    falling = (time_s >= burst_s - 1.0) & (time_s <= end_s)  # no burst is timed better
    times = time_s[falling]
    step_s = float(np.median(np.diff(times))) if len(times) > 20 else np.inf
    if not 0.0 < step_s <= SLOWEST_STEP_S or (times <= burst_s + 10.0).sum() * step_s < 8.0:
        return None
    turning = np.abs(across(rate[falling], up))
    size = np.sqrt(np.maximum(smoothed(turning**2, 5.0 / step_s), 0.0))
    later = size[times > min(burst_s + FALL_SETTLED_S, (burst_s + end_s) / 2.0)]
    if len(later) * step_s < 30.0:
        return None
    greatest = float(turning[times <= burst_s + FALL_SETTLED_S].max())
    wild = np.flatnonzero(size > times_usual * np.median(later))
    if greatest < TUMBLE_DEG_S or len(wild) == 0:
        return 0.0, 0.0, greatest
    followed = np.append(np.diff(times[wild]), np.inf)
    calm_s = float(times[wild[np.flatnonzero(followed > CALM_S)[0]]])
    inside = times <= calm_s
    return max(calm_s - burst_s, 0.0), integral(turning[inside], times[inside]) / 360.0, greatest


def range_used(force, rate, range_g, range_deg_s):
    """Give (share of the force's range that was used, share of the rate's, readings at the end of either).

    rate: as the chip gave it, with its zero, as that is what its range holds.
    """
    shares = [
        np.abs(values).max(axis=1, initial=0.0) / end
        for values, end in ((force, range_g * STANDARD_GRAVITY_M_S2), (rate, range_deg_s))
    ]
    count = int((np.maximum(*shares) >= NEAR_END).sum())
    return float(shares[0].max(initial=0.0)), float(shares[1].max(initial=0.0)), count
