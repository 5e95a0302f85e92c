"""The profile of the air's temperature: samples put on levels of height."""

from dataclasses import dataclass

import numpy as np

from ground.physics.atmosphere import geopotential_height_m

STEP_M = 50.0


@dataclass(frozen=True)
class Profile:
    """Levels upwards, float arrays (n,); NaN where no sample is.

    height_m: geometric, above mean sea level; geopotential_height_m; pressure_hpa: NaN if unknown; temperature_k:
    corrected for the thermometer's lag as far as its time constant is known; uncorrected_k: smoothed as that, but
    not corrected; noise_k: standard uncertainty of temperature_k from noise alone; samples: the number of a level's
    samples; time_s: their middle. reason: why there are no levels, or None.
    """

    height_m: np.ndarray
    geopotential_height_m: np.ndarray
    pressure_hpa: np.ndarray
    temperature_k: np.ndarray
    uncorrected_k: np.ndarray
    noise_k: np.ndarray
    samples: np.ndarray
    time_s: np.ndarray
    reason: str | None = None

    def __len__(self):
        return len(self.height_m)

    def known(self):
        """Mask (n,) of the levels with a temperature."""
        return np.isfinite(self.temperature_k)


def no_profile(reason) -> Profile:
    """A Profile without levels."""
    return Profile(*([np.zeros(0)] * 8), reason)


def build_profile(time_s, height_m, temperature_k, uncorrected_k, noise_k, pressure_hpa=None, step_m=STEP_M):
    """Put samples on levels of even geometric height: medians of the samples within half a step.

    time_s, height_m, temperature_k, uncorrected_k, noise_k: float arrays (n,) of one length, NaN allowed, in any
    order; pressure_hpa: (n,) or None. step_m: m. Each level stands at the median height of its samples.
    Returns a Profile.
    """
    columns = [np.asarray(column, float) for column in (time_s, height_m, temperature_k, uncorrected_k, noise_k)]
    columns.append(np.full(len(columns[0]), np.nan) if pressure_hpa is None else np.asarray(pressure_hpa, float))
    known = np.isfinite(columns[1]) & np.isfinite(columns[2])
    if known.sum() < 3:
        return no_profile("there are no temperatures with a height")
    columns = [column[known] for column in columns]
    number = np.rint(columns[1] / step_m).astype(int)
    seat = number - number.min()
    levels = int(seat.max()) + 1
    time_s, height, air, raw, noise, pressure = (_medians(seat, column, levels) for column in columns)
    height = np.where(np.isfinite(height), height, (np.arange(levels) + number.min()) * step_m)
    samples = np.bincount(seat, minlength=levels).astype(float)
    return Profile(height, geopotential_height_m(height), pressure, air, raw, noise, samples, time_s)


def _medians(seat, values, levels):
    """The median of the finite values of each level, NaN without any. seat: int array (n,) of their levels."""
    finite = np.isfinite(values)
    seat, values = seat[finite], values[finite]
    values = values[np.lexsort((values, seat))]
    count = np.bincount(seat, minlength=levels)
    first = np.cumsum(count) - count
    made = np.full(levels, np.nan)
    some = count > 0
    low, high = first[some] + (count[some] - 1) // 2, first[some] + count[some] // 2
    made[some] = (values[low] + values[high]) / 2.0
    return made


def filled(profile, other, far_m=100.0, step_m=STEP_M):
    """A Profile with the levels of another one where it knows none within far_m, such as the fall's in a climb's
    gaps.

    profile, other: Profiles of build_profile with this step_m. Returns (Profile, share of its levels that are the
    other's).
    """
    good, spare = profile.known(), other.known()
    if not spare.any():
        return profile, 0.0
    if not good.any():
        return other, 1.0
    at = np.sort(profile.height_m[good])
    after = np.searchsorted(at, other.height_m)
    away = np.minimum(
        np.abs(at[np.minimum(after, len(at) - 1)] - other.height_m),
        np.abs(at[np.maximum(after - 1, 0)] - other.height_m),
    )
    taken = spare & (away > far_m)
    if not taken.any():
        return profile, 0.0
    names = [name for name in Profile.__dataclass_fields__ if name != "reason"]
    parts = [np.concatenate([getattr(profile, name)[good], getattr(other, name)[taken]]) for name in names]
    order = np.argsort(parts[0], kind="stable")
    parts = [part[order] for part in parts]
    number = np.rint(parts[0] / step_m).astype(int)
    levels = np.arange(number[0], number[-1] + 1)
    seat = np.searchsorted(levels, number)
    made = []
    for name, part in zip(names, parts, strict=True):
        column = np.full(len(levels), 0.0 if name == "samples" else np.nan)
        column[seat] = part
        made.append(column)
    empty = ~np.isfinite(made[0])
    made[0][empty] = levels[empty] * step_m
    made[1][empty] = geopotential_height_m(made[0][empty])
    return Profile(*made), float(taken.sum() / (good.sum() + taken.sum()))


def gaps(height_m, least_m):
    """The gaps of at least least_m between levels: list of (lower, upper height). height_m: (n,), finite,
    upwards.
    """
    wide = np.flatnonzero(np.diff(height_m) >= least_m)
    return [(float(height_m[i]), float(height_m[i + 1])) for i in wide]


def even_levels(height_m, temperature_k, step_m, weight=None):
    """Levels at even steps from a dense profile: at each the value of a straight line fitted to the samples within
    one step of it (local linear regression, triangular weights).

    height_m, temperature_k: float arrays (n,), NaN allowed; weight: (n,) or None. step_m: m.
    Returns (height_m, temperature_k), arrays (k,); where a step has samples on one side only, the levels are left
    out. Source: W. S. Cleveland, "Robust locally weighted regression", J. Am. Stat. Assoc. 74, 1979, without its
    robust steps.
    """
    height, value = np.asarray(height_m, float), np.asarray(temperature_k, float)
    weight = np.ones(len(height)) if weight is None else np.asarray(weight, float)
    known = np.isfinite(height) & np.isfinite(value) & (weight > 0)
    height, value, weight = height[known], value[known], weight[known]
    if len(height) < 2:
        return np.zeros(0), np.zeros(0)
    first = np.floor(height.min() / step_m)
    grid = np.arange(first, np.ceil(height.max() / step_m) + 1) * step_m
    sums = np.zeros((5, len(grid)))
    seat = np.floor(height / step_m - first).astype(int)
    for offset in (0, 1):  # each sample lies within one step of the level below it and of the one above
        level = np.minimum(seat + offset, len(grid) - 1)
        away = (height - grid[level]) / step_m
        w = weight * np.maximum(1.0 - np.abs(away), 0.0)
        for row, part in enumerate((w, w * away, w * away**2, w * value, w * away * value)):
            sums[row] += np.bincount(level, part, len(grid))
    s0, s1, s2, y0, y1 = sums
    spread = s0 * s2 - s1**2
    good = spread > 0.02 * s0**2  # else the samples lie at one height
    good &= np.abs(s1) < 0.45 * s0  # or on one side
    return grid[good], (s2 * y0 - s1 * y1)[good] / spread[good]
