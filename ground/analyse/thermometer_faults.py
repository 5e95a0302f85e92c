"""Samples of a thermometer that no air makes: it stands still, or reads on another scale after a jump."""

import numpy as np

from ground.analyse.lag import sample_noise

# The same value over all of these is a thermometer that stands still,
STILL_S, STILL_SAMPLES, STILL_M = 30.0, 20, 100.0
STILL_ALONE_M = 2000.0  # and over so many metres at the end of the data, whatever follows.
# Means of so many samples that stay within so many of their own deviations are those of one value and its noise.
BLOCK, SAME_BLOCKS = 20, 6.0
MOST_NOISE_K = 1.0  # in louder noise nothing can be told
FLAT_M = 2000.0  # so deep a layer of one value is worth a doubt (our limit, no source)
# Real air keeps to one value neither so far up nor so deep near the ground; ISO 2533 has it from 11 to 20 km.
FLAT_ALONE_M, WEATHER_M, FLAT_IN_WEATHER_M = 12_000.0, 8000.0, 3000.0
OTHER_WAY_K, NEAR_M = 10.0, 100.0  # a slow thermometer in a quick fall is wrong by less
JUMP_K = 3.0  # from one sample to the next, no thermometer in air does that
SAME_K = 1.0


def standing_still(time_s, value, height_m):
    """Mark the samples of a thermometer that says the same all the time while it moves through the air.

    time_s, value, height_m: float arrays (n,), times not decreasing. Returns a mask (n,).
    A run of exactly equal values over 30 s, 20 samples and 100 m counts if the thermometer's noise elsewhere makes
    such a run impossible, if a jump ends it, or if it goes on for 2 km until the data end. Air of one temperature
    under a coarse, quiet thermometer looks like it, and is not marked.
    """
    value = np.asarray(value, float)
    still = np.zeros(len(value), bool)
    if len(value) < STILL_SAMPLES:
        return still
    start = np.flatnonzero(np.append(True, np.diff(value) != 0))
    end = np.append(start[1:], len(value)) - 1
    for first, last in zip(start, end, strict=True):
        if last - first + 1 < STILL_SAMPLES or time_s[last] - time_s[first] < STILL_S:
            continue
        if np.ptp(height_m[first : last + 1]) >= STILL_M:
            still[first : last + 1] = True
    if not still.any():
        return still
    moving = value[~still]
    steps = np.abs(np.diff(moving))
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    least = float(steps[steps > 1e-9].min()) if (steps > 1e-9).any() else np.inf
    noisy = len(moving) >= 100 and sample_noise(moving) >= 0.7 * least
    for first, last in zip(start, end, strict=True):
        if still[first] and not noisy:
            jump = abs(value[last + 1] - value[last]) if last + 1 < len(value) else 0.0
            onwards = last + 1 == len(value) and np.ptp(height_m[first : last + 1]) >= STILL_ALONE_M
            still[first : last + 1] = jump > max(10.0 * usual, 0.5) or onwards
    return still


def stuck_in_noise(time_s, value, height_m):
    """Mark the samples of a thermometer that says one value and its own noise while it moves through the air.

    time_s, value, height_m: float arrays (n,), times not decreasing. Returns a mask (n,).
    A stretch of 2 km or more in which the means of 20 samples differ by no more than noise lets them counts if it
    ends or begins with a jump of 3 K, if the samples at the same heights elsewhere in the flight differ by 10 K, or
    if no air is like that: over 12 km, or over 3 km of the lowest 8 km.
    """
    time_s, value, height_m = (np.asarray(column, float) for column in (time_s, value, height_m))
    stuck = np.zeros(len(value), bool)
    noise = sample_noise(value)
    if len(value) < 5 * BLOCK or not 0.0 < noise <= MOST_NOISE_K:
        return stuck
    runs = [run for run in _flat_runs(value, noise) if np.ptp(height_m[slice(*run)]) >= FLAT_M]
    for first, end in runs:
        stuck[first:end] = True
    elsewhere = ~stuck
    for first, end in runs:
        inside = slice(first, end)
        stuck[inside] = (
            _jumps(time_s, value, first, end, noise)
            or np.ptp(height_m[inside]) >= FLAT_ALONE_M
            or np.ptp(np.minimum(height_m[inside], WEATHER_M)) >= FLAT_IN_WEATHER_M
            or _differs(value, height_m, inside, elsewhere)
        )
    return stuck


def _flat_runs(value, noise):
    """(first, end) of the stretches of one value and noise, each as far as it goes."""
    means = value[: len(value) // BLOCK * BLOCK].reshape(-1, BLOCK).mean(axis=1)
    limit = SAME_BLOCKS * noise / np.sqrt(BLOCK)
    runs, start = [], 0
    while start < len(means):
        end, low, high = start, means[start], means[start]
        while end < len(means) and max(high, means[end]) - min(low, means[end]) <= limit:
            low, high = min(low, means[end]), max(high, means[end])
            end += 1
        if end - start >= 5:
            middle = float(np.median(means[start:end]))
            same = np.abs(value - middle) <= 5.0 * noise  # to the sample, where it begins and ends
            before, after = np.flatnonzero(~same[: start * BLOCK]), np.flatnonzero(~same[end * BLOCK :])
            first = int(before[-1]) + 1 if len(before) else 0
            last = end * BLOCK + int(after[0]) if len(after) else len(value)
            runs.append((first, last))
            start = max(last // BLOCK, end)
        else:
            start += 1
    return runs


def _jumps(time_s, value, first, end, noise):
    """True if a stretch begins or ends with a jump that no thermometer in air makes, and not over a gap."""
    usual_s = float(np.median(np.diff(time_s)))
    least = max(JUMP_K, 10.0 * noise)
    ends = [at for at in (first, end) if 0 < at < len(value) and time_s[at] - time_s[at - 1] <= 5.0 * usual_s]
    return any(abs(value[at] - value[at - 1]) >= least for at in ends)


def _differs(value, height_m, inside, elsewhere):
    """True if the other samples at these heights say something quite different."""
    low, high = height_m[inside].min(), height_m[inside].max()
    other = elsewhere & (height_m > low + NEAR_M) & (height_m < high - NEAR_M)
    return other.sum() >= STILL_SAMPLES and abs(np.median(value[other]) - np.median(value[inside])) >= OTHER_WAY_K


def shifted(time_s, value):
    """Mark the samples between two jumps that no air makes, such as those of a bad contact.

    time_s, value: float arrays (n,), times not decreasing. Returns a mask (n,). Where a value jumps by 3 K from one
    sample to the next, and by 8 times what it usually changes there, the samples after it are on another scale;
    the scale that holds for most samples is taken for the right one.
    """
    value = np.asarray(value, float)
    if len(value) < 30:
        return np.zeros(len(value), bool)
    step = np.diff(value)
    at = np.flatnonzero(np.abs(step) >= JUMP_K)
    usual = np.array([np.median(np.abs(step[max(i - 10, 0) : i + 11])) for i in at])
    quick = np.diff(time_s)[at] <= 5.0 * np.median(np.diff(time_s))
    at = at[(np.abs(step[at]) >= 8.0 * usual) & quick]
    if len(at) == 0:
        return np.zeros(len(value), bool)
    scale = np.zeros(len(value))
    scale[at + 1] = step[at]
    scale = np.cumsum(scale)
    values, counts = np.unique(np.round(scale / SAME_K), return_counts=True)
    right = np.median(scale[np.round(scale / SAME_K) == values[np.argmax(counts)]])
    return np.abs(scale - right) > SAME_K
