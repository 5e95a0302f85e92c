"""What a motion sensor's record needs before it tells anything: stretches without a gap, means, blocks for a plot.

All functions on motion take a uniform or gappy record of readings: time_s (n,), force (n, 3), the specific force in
m/s2 in the chip's axes (at rest it points up and is gravity), rate (n, 3), the angular rate in deg/s. Times rise.
"""

import numpy as np

from ground.physics.atmosphere import STANDARD_GRAVITY_M_S2

GAP_S = 1.0  # nothing is integrated across a longer gap
SLOWEST_STEP_S = 0.5  # sampled more seldom, a swing cannot be followed
FROZEN_SAMPLES = 20


def moving(force):
    """False where a reading is one of FROZEN_SAMPLES or more with the same force on all axes: a chip that stands
    still, as its noise alone moves a live one by more than a count (MPU-6050 data sheet, 6.2).
    """
    changes = (np.diff(force, axis=0) != 0).any(axis=1)
    starts = np.flatnonzero(np.append(True, changes)[: len(force)])
    lengths = np.diff(np.append(starts, len(force)))
    return np.repeat(lengths < FROZEN_SAMPLES, lengths)


def split(time_s):
    """Slices of a record without a gap longer than GAP_S (or three steps)."""
    if len(time_s) < 2:
        return []
    steps_s = np.diff(time_s)
    cuts = np.flatnonzero(steps_s > max(GAP_S, 3.0 * float(np.median(steps_s)))) + 1
    return [slice(a, b) for a, b in zip(np.append(0, cuts), np.append(cuts, len(time_s))) if b - a >= 2]


def mean_step_s(time_s):
    """The mean time between readings, s; infinite for fewer than two, or if all have one time."""
    length_s = float(time_s[-1] - time_s[0]) if len(time_s) > 1 else 0.0
    return length_s / (len(time_s) - 1) if length_s > 0 else np.inf


def unseen_s(time_s, start_s, end_s):
    """How much of the time from start_s to end_s has no readings, s: its gaps longer than GAP_S (or three steps),
    those at its ends among them.
    """
    inside = time_s[(time_s >= start_s) & (time_s <= end_s)]
    if len(inside) < 2:
        return end_s - start_s
    steps_s = np.diff(np.concatenate([[start_s], inside, [end_s]]))
    return float(steps_s[steps_s > max(GAP_S, 3.0 * float(np.median(steps_s)))].sum())


def smoothed(values, samples):
    """Running mean over about so many samples, shorter at the ends."""
    half = min(max(int(samples) // 2, 0), len(values))
    sums = np.concatenate([[0.0], np.cumsum(values)])
    index = np.arange(len(values))
    low, high = np.maximum(index - half, 0), np.minimum(index + half + 1, len(values))
    return (sums[high] - sums[low]) / (high - low)


def integral(values, time_s):
    """The integral over time by the trapezoidal rule."""
    return float((np.diff(time_s) * (values[1:] + values[:-1]) / 2.0).sum())


def across(vectors, up):
    """The parts of vectors (n, 3) across the upright axis, as complex numbers (n,)."""
    first = np.cross(up, np.eye(3)[int(np.argmin(np.abs(up)))])
    first /= np.linalg.norm(first)
    return vectors @ first + 1j * (vectors @ np.cross(up, first))


def size_g(force):
    """The size of the specific force, in g: (n,)."""
    return np.sqrt(np.einsum("ij,ij->i", force, force)) / STANDARD_GRAVITY_M_S2


def summary(time_s, force, spin_deg_s, tilt, block_s=10.0):
    """Give a record in blocks for a plot: a dict of arrays (m,): time_s (middle), least_g, median_g, greatest_g,
    spin_deg_s (median), swing_deg (root mean square angle; NaN where not known).
    """
    names = ("time_s", "least_g", "median_g", "greatest_g", "spin_deg_s", "swing_deg")
    if len(time_s) == 0:
        return {name: np.zeros(0) for name in names}
    block = np.floor(time_s / block_s)
    firsts = np.flatnonzero(np.diff(block, prepend=block[0] - 1.0))
    counts = np.diff(np.append(firsts, len(time_s)))
    size = size_g(force)
    squares = tilt.real**2 + tilt.imag**2
    columns = (
        (block[firsts] + 0.5) * block_s, np.minimum.reduceat(size, firsts), _medians(size, block, firsts, counts),
        np.maximum.reduceat(size, firsts), _medians(spin_deg_s, block, firsts, counts),
        np.sqrt(np.add.reduceat(squares, firsts) / counts),
    )  # fmt: skip
    return dict(zip(names, columns))


def _medians(values, block, firsts, counts):
    """The median of each block; NaN where a block's values are."""
    ranked = values[np.lexsort((values, block))]
    return (ranked[firsts + (counts - 1) // 2] + ranked[firsts + counts // 2]) / 2.0
