"""A thermometer that follows the air slowly: how slowly, and what the air's temperature was.

The element is a first-order system: dT/dt = (Tair - T) / tau. Source: WMO-No. 8, Guide to Instruments and Methods
of Observation, chapter on the measurement of temperature, response of thermometers (edition and number from
memory).
"""

import numpy as np

SEA_LEVEL_DENSITY_KG_M3 = 1.225  # ISO 2533
# F. I. Badgley, "Response of radiosonde thermistors", Rev. Sci. Instrum. 28, 1957: inversely as the root of density
# and ventilation (abstract read; author and year from memory). "Time constant estimates for radiosonde temperature
# sensors", J. Atmos. Oceanic Technol. 30, 2013: about six times as long at 10 hPa as near sea level (abstract
# read). The speed is left out here.
SLOWEST_FACTOR = 6.0
LEAST_WINDOW_S = 10.0
FEWEST_IN_WINDOW = 5


def lag_factor(density_kg_m3):
    """How many times longer than at sea level a thermometer's time constant is in air of this density, kg/m3.

    Scalar or array. It goes as one over the root of the density and is limited to 1 to 6, see SLOWEST_FACTOR.
    """
    density = np.maximum(np.asarray(density_kg_m3, float), 1e-6)
    return np.clip(np.sqrt(SEA_LEVEL_DENSITY_KG_M3 / density), 1.0, SLOWEST_FACTOR)[()]


def local_lines(time_s, value, window_s):
    """Fit a straight line to the samples around each one, least squares.

    time_s, value: float arrays (n,), times not decreasing. window_s: full width in s, scalar or array (n,).
    Returns (fitted value, slope per s, noise of the value per unit noise of a sample, the same of the slope),
    arrays (n,), NaN where fewer than five samples or only one side of the window has any.
    Source: local linear regression, e.g. Cleveland, J. Am. Stat. Assoc. 74, 1979, with equal weights.
    """
    time_s, value = np.asarray(time_s, float), np.asarray(value, float)
    if len(time_s) == 0:
        return (np.zeros(0),) * 4
    half_s = np.broadcast_to(np.asarray(window_s, float) / 2.0, time_s.shape)
    base = float(np.median(value))
    t, v = time_s - time_s.mean(), value - base
    first = np.searchsorted(time_s, time_s - half_s, side="left")
    last = np.searchsorted(time_s, time_s + half_s, side="right")

    def total(array):
        sums = np.concatenate([[0.0], np.cumsum(array)])
        return sums[last] - sums[first]

    n = (last - first).astype(float)
    mean_t, mean_v = total(t) / n, total(v) / n
    spread = total(t * t) - n * mean_t**2
    before_s, after_s = time_s - time_s[first], time_s[last - 1] - time_s
    # At the ends the line reaches over the edge, but not from afar over a gap.
    good = (n >= FEWEST_IN_WINDOW) & (spread > 0) & (before_s + after_s > 0.5 * half_s)
    safe = np.where(good, spread, np.nan)
    slope = (total(t * v) - n * mean_t * mean_v) / safe
    away = t - mean_t
    fitted = base + mean_v + slope * away
    return fitted, slope, np.sqrt(1.0 / n + away**2 / safe), 1.0 / np.sqrt(safe)


def sample_noise(value):
    """Standard deviation of the noise of a smooth series' samples, from second differences; NaN for fewer than
    five.

    value: float array (n,). Source: the median absolute deviation times 1.4826 over the root of 6 (J. von Neumann's
    successive differences, Ann. Math. Stat. 12, 1941, made robust); not less than the step of a coarse scale
    allows.
    """
    value = np.asarray(value, float)
    if len(value) < 5:
        return np.nan
    second = np.abs(value[2:] - 2 * value[1:-1] + value[:-2])
    steps = np.abs(np.diff(value))
    least = steps[steps > 1e-9].min() / np.sqrt(12.0) if (steps > 1e-9).any() else 0.0
    return max(1.4826 * float(np.median(second)) / np.sqrt(6.0), float(least))


def correct_lag(time_s, temperature, time_constant_s, least_window_s=LEAST_WINDOW_S):
    """Give the air's temperature from that of a slow thermometer: T + tau dT/dt of a local straight line.

    time_s: float array (n,), not decreasing; temperature: (n,), any unit; time_constant_s: s, scalar or (n,), 0 for
    a smoothing alone. The line spans one time constant, at least least_window_s, which holds the noise down: what
    changes within less is not brought back.
    Returns (corrected, smoothed without correction, standard uncertainty from noise), float arrays (n,); NaN where
    the samples are too few.
    """
    tau = np.broadcast_to(np.asarray(time_constant_s, float), np.shape(time_s))
    if len(tau) < FEWEST_IN_WINDOW:
        return (np.full(np.shape(time_s), np.nan),) * 3
    window_s = np.maximum(tau, max(least_window_s, (FEWEST_IN_WINDOW + 1) * float(np.median(np.diff(time_s)))))
    fitted, slope, of_value, of_slope = local_lines(time_s, temperature, window_s)
    noise = sample_noise(temperature)
    return fitted + tau * slope, fitted, noise * np.hypot(of_value, tau * of_slope)
