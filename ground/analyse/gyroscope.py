"""Which way is up in the box, what its gyroscope says at rest, and how the box spins about the upright axis.

Arguments as in ground.analyse.motion.
"""

from dataclasses import dataclass

import numpy as np

from ground.analyse.motion import SLOWEST_STEP_S, integral, mean_step_s, smoothed, split
from ground.physics.atmosphere import STANDARD_GRAVITY_M_S2

REST_BLOCK_S = 10.0
# The noise of such chips at rest is some 0.1 deg/s and 0.05 m/s2 (MPU-6050 data sheet, 6.1 and 6.2); a box that
# hangs or is carried moves many times more.
REST_RATE_DEG_S, REST_FORCE_M_S2 = 0.4, 0.15
SPIN_S = 20.0


@dataclass(frozen=True)
class Zero:
    """What the gyroscope says at rest, deg/s, (3,); drift_deg_s: how far it is seen to wander; seconds: of rest."""

    rate_deg_s: np.ndarray
    drift_deg_s: float
    seconds: float


def up_axis(force):
    """The direction that is up in the box, a unit vector (3,): that of the mean specific force, without its
    tenth of least and greatest readings an axis. None without a clear one. force: of a span without blows.
    """
    if len(force) < 10:
        return None
    low, high = np.percentile(force, (10, 90), axis=0)
    inside = (force >= low) & (force <= high)
    mean = np.where(inside, force, 0.0).sum(axis=0) / np.maximum(inside.sum(axis=0), 1)
    size = float(np.linalg.norm(mean))
    return mean / size if size > 0.5 * STANDARD_GRAVITY_M_S2 else None


def spin_axis(time_s, rate, up):
    """Sharpen the upright axis by the spin, whose axis it is: the accelerometer's offsets tilt it by up to 5 deg.

    rate: zero taken off, of a time in which the box hangs. Returns a unit vector (3,); up itself where the spin is
    too weak or its axis too far off to be the same. Method: principal axis (eigenvector of the second moments) of
    the rates after a running mean over SPIN_S, which leaves little of a swing.
    """
    if up is None or len(time_s) < 1000:
        return up
    step_s = mean_step_s(time_s)
    if step_s > SLOWEST_STEP_S:
        return up
    slow = np.column_stack([smoothed(rate[:, axis], SPIN_S / step_s) for axis in range(3)])
    sizes, axes = np.linalg.eigh(slow.T @ slow / len(slow))
    axis = axes[:, 2] * np.sign(axes[:, 2] @ up)
    clear = sizes[2] > 30.0 * sizes[1] and sizes[2] > 1.0
    return axis if clear and axis @ up > np.cos(np.radians(10.0)) else up


def at_rest(time_s, force, rate):
    """True for each reading in a block of REST_BLOCK_S in which box and force stand still. Returns bool (n,)."""
    if len(time_s) == 0:
        return np.zeros(0, bool)
    block = np.floor((time_s - time_s[0]) / REST_BLOCK_S)
    firsts = np.flatnonzero(np.diff(block, prepend=-1.0))
    counts = np.diff(np.append(firsts, len(time_s)))

    def deviation(vectors):
        from_middle = vectors - np.median(vectors, axis=0)  # so that the squares are small
        means, squares = (np.add.reduceat(part, firsts) / counts[:, None] for part in (from_middle, from_middle**2))
        return np.sqrt(np.maximum(squares - means**2, 0.0)).max(axis=1)

    still = (counts >= 5) & (deviation(rate) < REST_RATE_DEG_S) & (deviation(force) < REST_FORCE_M_S2)
    return np.repeat(still, counts)


def gyroscope_zero(time_s, force, rate, before_s, after_s, up):
    """Find the gyroscope's zero from the rest before and after the flight. None without any rest.

    before_s, after_s: the flight's begin and end. up: (3,). About the axes across, a hanging box turns as much one
    way as the other, so their mean in flight shows how far the zero wandered there; about the upright axis nothing
    shows it, and the others' drift has to stand for it.
    """
    zeros, seconds = [], 0.0
    for part in (time_s < before_s, time_s > after_s):
        resting = at_rest(time_s[part], force[part], rate[part])
        if resting.sum() >= 10:
            zeros.append(np.median(rate[part][resting], axis=0))
            steps_s = np.diff(time_s[part])
            seconds += float(resting.sum()) * float(np.median(steps_s))
    if not zeros:
        return None
    zero = np.mean(zeros, axis=0)
    flying = (time_s >= before_s) & (time_s <= after_s)
    wander = [float(np.abs(zeros[0] - zeros[-1]).max()) / 2.0]
    if up is not None and flying.sum() > 100:
        shift = rate[flying].mean(axis=0) - zero
        wander.append(float(np.linalg.norm(shift - (shift @ up) * up)))
    return Zero(zero, max(wander), seconds)


def spin_figures(time_s, spin_deg_s, least_deg_s):
    """Figures of the spin about the vertical: a dict of median_deg_s and p95_deg_s (of its size), turns (in all,
    both ways), net_turns, changes (of direction), seconds. None without two readings in a row.

    spin_deg_s: (n,), zero taken off. least_deg_s: a slower spin counts as neither way.
    """
    sizes, ways, turns, net, seconds = [], [], 0.0, 0.0, 0.0
    for part in split(time_s):
        times = time_s[part]
        step_s = mean_step_s(times)
        calm = smoothed(spin_deg_s[part], 1.0 / step_s)
        sizes.append(np.abs(calm))
        turns += integral(sizes[-1], times) / 360.0
        net += integral(calm, times) / 360.0
        seconds += float(times[-1] - times[0])
        slow = smoothed(calm, 5.0 / step_s)
        ways.append(slow[np.abs(slow) > least_deg_s] > 0)
    if not sizes:
        return None
    median, fast = np.percentile(np.concatenate(sizes), (50, 95))
    changes = int(np.count_nonzero(np.diff(np.concatenate(ways))))
    return {"median_deg_s": float(median), "p95_deg_s": float(fast), "turns": turns, "net_turns": net,
            "changes": changes, "seconds": seconds}  # fmt: skip
