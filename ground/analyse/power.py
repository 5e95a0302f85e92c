"""The battery's voltage: levels, the lowest, sudden steps, and how much the cold takes."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.series import running_median

SMOOTH_SAMPLES = 5
STEP_SAMPLES = 24  # on each side, that a step is tested on
NEAR_SAMPLES = 4  # on each side, that a step is looked for with
LEAST_STEP_V = 0.03  # smaller steps can be a transmitter's beat
BIC_MARGIN = 10.0  # "very strong" evidence (Kass and Raftery, J. Am. Stat. Assoc. 90, 1995)
LEAST_RANGE_K = 8.0
MOST_SAMPLES = 4000
ALIKE = 0.98  # time and temperature that go so much together cannot be told apart
CURVED = 0.1  # the effect grows as it gets colder, so a mean of it says only so much (a guess, no source)


@dataclass(frozen=True)
class Step:
    """A sudden change of voltage. before_s, after_s: the samples beside it; volts: how much, and its standard
    uncertainty; level_v: the voltage before it.
    """

    before_s: float
    after_s: float
    volts: float
    uncertainty_v: float
    level_v: float


@dataclass(frozen=True)
class ColdFit:
    """volts_per_k: partial effect of the temperature, and its standard uncertainty; volts_per_hour: of the time;
    range_k: how far the temperature went; samples. reason: why there is none.
    """

    volts_per_k: float | None = None
    uncertainty_v_per_k: float | None = None
    volts_per_hour: float | None = None
    range_k: float | None = None
    samples: int = 0
    reason: str | None = None


def level(time_s, values, start_s, end_s):
    """Give (median, standard uncertainty of it, samples) from start_s to end_s, None without samples there.

    The uncertainty is 1.2533 times the scaled median absolute deviation over the root of the number (for normally
    scattered samples the standard error of a median).
    """
    part = values[(time_s >= start_s) & (time_s <= end_s) & np.isfinite(values)]
    if len(part) == 0:
        return None
    middle = float(np.median(part))
    scatter = 1.4826 * float(np.median(np.abs(part - middle)))
    return middle, 1.2533 * scatter / len(part) ** 0.5, len(part)


def extreme(time_s, values, sign):
    """Give (index, value) of the least (sign -1) or greatest (+1) running median of SMOOTH_SAMPLES, or None."""
    if len(values) == 0:
        return None
    smooth = running_median(values, SMOOTH_SAMPLES)
    best = int(np.argmax(sign * smooth))
    return best, float(smooth[best])


def find_steps(time_s, volts):
    """Find sudden steps of a voltage that otherwise changes slowly: a list of Step in order of time.

    time_s, volts: float arrays (n,), times rising. Method: where the medians of NEAR_SAMPLES on both sides differ
    most, a straight line with a step is compared with a line and with a parabola without one, on STEP_SAMPLES on
    each side (fewer at the next step), by the Bayesian information criterion (G. Schwarz, Annals of Statistics 6,
    1978); the place is the one with the least squares.
    """
    if len(volts) < 4 * NEAR_SAMPLES:
        return []
    windows = np.median(np.lib.stride_tricks.sliding_window_view(volts, NEAR_SAMPLES), axis=1)
    jump = np.abs(windows[NEAR_SAMPLES:] - windows[:-NEAR_SAMPLES])  # at sample NEAR_SAMPLES + i
    places, open_to = [], jump >= LEAST_STEP_V
    while open_to.any():
        best = int(np.argmax(np.where(open_to, jump, -1.0)))
        places.append(best + NEAR_SAMPLES)
        open_to[max(best - 2 * NEAR_SAMPLES, 0) : best + 2 * NEAR_SAMPLES + 1] = False
    places = sorted(places)
    bounds = [0, *places, len(volts)]
    found = []
    for place, left, right in zip(places, bounds, bounds[2:]):
        first = max(place - STEP_SAMPLES, left + (NEAR_SAMPLES if left else 0))
        last = min(place + STEP_SAMPLES, right - (NEAR_SAMPLES if right < len(volts) else 0))
        made = _step(time_s[first:last], volts[first:last])
        if made is not None:
            found.append(made)
    return found


def _step(time_s, volts):
    count = len(time_s)
    if count < 2 * NEAR_SAMPLES:
        return None
    x = time_s - time_s.mean()
    base = np.column_stack([np.ones(count), x])
    trials = []
    for place in range(NEAR_SAMPLES, count - NEAR_SAMPLES + 1):
        _, left, _ = _least_squares(np.column_stack([base, np.arange(count) >= place]), volts)
        trials.append((left, place))
    left, place = min(trials)
    numbers, _, deviations = _least_squares(np.column_stack([base, np.arange(count) >= place]), volts)
    line = _least_squares(base, volts)[1]
    parabola = _least_squares(np.column_stack([base, x * x]), volts)[1]
    # Four numbers of the step (its place is one) against two and three.
    with_step = _bic(left, count, 4)
    if max(with_step - _bic(line, count, 2), with_step - _bic(parabola, count, 3)) > -BIC_MARGIN:
        return None
    if abs(numbers[2]) < LEAST_STEP_V:
        return None
    before = numbers[0] + numbers[1] * x[place - 1]
    beside_s = float(time_s[place - 1]), float(time_s[place])
    return Step(*beside_s, float(numbers[2]), float(deviations[2]), float(before))


def _bic(left, count, numbers):
    return count * np.log(max(left / count, 1e-8)) + numbers * np.log(count)  # 0.1 mV: no voltage is read better


def _least_squares(columns, values):
    """Give (numbers, sum of squares left, standard deviations of the numbers)."""
    numbers, *_ = np.linalg.lstsq(columns, values, rcond=None)
    left = float(((values - columns @ numbers) ** 2).sum())
    spread = np.linalg.pinv(columns.T @ columns) * left / max(len(values) - columns.shape[1], 1)
    return numbers, left, np.sqrt(np.maximum(np.diag(spread), 0.0))


def fit_cold(time_s, volts, celsius, steps):
    """Find how much of the voltage the cold takes: a ColdFit of the partial effect of temperature at equal age.

    time_s, volts, celsius: float arrays (n,). steps: list of Step that the fit lets free. Method: linear regression
    of the voltage on time, its square and temperature; standard error that allows for errors alike in neighbours
    (W. K. Newey and K. D. West, Econometrica 55, 1987, lags of a tenth of the samples). As a battery's course is
    none of these curves, how much the effect differs without the square and with the cube of the time is added.
    """
    known = np.isfinite(volts) & np.isfinite(celsius)
    time_s, volts, celsius = time_s[known], volts[known], celsius[known]
    samples = len(volts)
    if samples > MOST_SAMPLES:  # the sum over lags grows with the square of their number
        block = -(-samples // MOST_SAMPLES)
        parts = (part[: samples // block * block].reshape(-1, block) for part in (time_s, volts, celsius))
        time_s, volts, celsius = (part.mean(axis=1) for part in parts)
    if samples < 60:
        return ColdFit(reason="there are fewer than 60 samples of voltage and temperature")
    range_k = float(np.ptp(np.percentile(celsius, (2, 98))))
    if range_k < LEAST_RANGE_K:
        return ColdFit(reason=f"the temperature of the board changed by {range_k:.0f} K only")
    if not np.ptp(time_s) > 0:
        return ColdFit(reason="the times of the samples stand still")
    x = (time_s - time_s.mean()) / float(np.ptp(time_s))
    warm = celsius - celsius.mean()
    if abs(np.corrcoef(x, warm)[0, 1]) > ALIKE:
        return ColdFit(reason="it only got colder as time went by, so age and cold cannot be told apart")
    jumps = [time_s >= (step.before_s + step.after_s) / 2 for step in steps]
    jumps = [jump.astype(float) for jump in jumps if 3 < jump.sum() < len(jump) - 3]

    def fit(degree):
        columns = np.column_stack([warm, np.ones(len(x)), *(x**power for power in range(1, degree + 1)), *jumps])
        numbers, *_ = np.linalg.lstsq(columns, volts, rcond=None)
        return columns, numbers

    columns, numbers = fit(2)
    others = [float(fit(degree)[1][0]) for degree in (1, 3)]
    scores = columns * (volts - columns @ numbers)[:, None]
    lags = len(x) // 10
    inner = scores.T @ scores
    for lag in range(1, lags + 1):
        cross = scores[lag:].T @ scores[:-lag]
        inner = inner + (1.0 - lag / (lags + 1)) * (cross + cross.T)
    bread = np.linalg.pinv(columns.T @ columns)
    variance = max(float((bread @ inner @ bread)[0, 0]), 0.0)
    model = max(abs(other - numbers[0]) for other in others) / 3.0
    per_hour = float(numbers[2]) / float(np.ptp(time_s)) * 3600.0
    uncertainty = float(np.linalg.norm([variance**0.5, model, CURVED * numbers[0]]))
    return ColdFit(float(numbers[0]), uncertainty, per_hour, range_k, samples)
