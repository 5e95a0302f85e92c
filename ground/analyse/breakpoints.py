"""Times at which a height series changes its course: a bent line, and a climb that ends in a fall."""

from dataclasses import dataclass

import numpy as np

from ground.physics.atmosphere import STANDARD_GRAVITY_M_S2

FALL_SPEEDS_M_S = np.geomspace(2.0, 150.0, 36)  # terminal speeds that the burst fit tries
STEADY_SHARE = 0.5  # a fall that is steady at once must leave less than this of the squares to be believed


@dataclass(frozen=True)
class Breakpoint:
    time_s: float
    uncertainty_s: float  # one standard deviation, from how fast the fit worsens to both sides
    height_m: float  # of the fitted curve at that time
    rate_m_s: float  # of the straight part
    scatter_m: float  # root mean square of the samples about the fit
    samples: int


def fit_bend(time_s, height_m, earliest_s, latest_s):
    """Find when a level line bends into a slope: height = level up to the time, then straight.

    time_s, height_m: float arrays (n,), n >= 4, times increasing. The bend lies between earliest_s
    and latest_s. Returns a Breakpoint; height_m is the level, rate_m_s the slope after the bend.
    Method: least squares over level and slope for every time on a grid, then on a finer one.
    """

    def errors(bends_s):
        run = np.maximum(time_s - bends_s[:, None], 0.0)
        return _line_errors(run, np.broadcast_to(height_m, run.shape))

    bend_s, uncertainty_s = _search(errors, earliest_s, latest_s, len(time_s) - 3)
    run = np.maximum(time_s - bend_s, 0.0)
    left, level_m, rate_m_s = _line(run, height_m)
    return Breakpoint(bend_s, uncertainty_s, level_m, rate_m_s, _scatter(left, time_s), len(time_s))


def fit_burst(time_s, height_m, earliest_s, latest_s):
    """Find when a straight climb ends in a fall through air.

    Arguments as for fit_bend, with samples on both sides of the burst.
    Returns a Breakpoint; height_m is the height of the climb at its end, rate_m_s its rate.
    Method: up to the burst a straight line; after it a body that starts with the climb's rate and
    moves under gravity and a drag proportional to the square of its speed (closed form: logarithm
    of the hyperbolic cosine), or that falls steadily at once, where that fits far better. Least squares
    over height and climb rate, for every time on a grid and every speed of FALL_SPEEDS_M_S. Two
    straight lines alone would meet seconds too late, because a fall in thin air has to gather speed.
    """
    early = time_s <= earliest_s
    if early.sum() >= 4:
        climb_m_s = max(_line(time_s[early] - earliest_s, height_m[early])[2], 0.1)
    else:
        climb_m_s = 5.0  # common practice, no source; only how far the payload coasts depends on it

    def thrown(speed_m_s):
        return lambda after_s: _thrown(after_s, climb_m_s, speed_m_s)

    def steady(speed_m_s):  # what is already open and light falls steadily at once
        return lambda after_s: -speed_m_s * after_s

    def errors_of(fall):
        def errors(ends_s):
            run = time_s - ends_s[:, None]
            return _line_errors(np.minimum(run, 0.0), height_m - fall(np.maximum(run, 0.0)))

        return errors

    freedom = len(time_s) - 4

    def best(shape, speeds_m_s):
        ends_s = [
            _search(errors_of(shape(v)), earliest_s, latest_s, freedom, fine=False)[0] for v in speeds_m_s
        ]
        sums = [float(errors_of(shape(v))(np.array([end_s]))[0]) for v, end_s in zip(speeds_m_s, ends_s)]
        least = int(np.argmin(sums))
        return sums[least], least

    trials = []
    for shape in (thrown, steady):
        _, index = best(shape, FALL_SPEEDS_M_S)
        between = np.linspace(
            *FALL_SPEEDS_M_S[[max(index - 1, 0), min(index + 1, len(FALL_SPEEDS_M_S) - 1)]], 21
        )
        left, index = best(shape, between)
        trials.append((left, shape(between[index])))
    (thrown_left, fall), (steady_left, other) = trials
    if steady_left < STEADY_SHARE * thrown_left:
        fall = other
    end_s, uncertainty_s = _search(errors_of(fall), earliest_s, latest_s, freedom)
    run = time_s - end_s
    left, top_m, rate_m_s = _line(np.minimum(run, 0.0), height_m - fall(np.maximum(run, 0.0)))
    return Breakpoint(end_s, uncertainty_s, top_m, rate_m_s, _scatter(left, time_s), len(time_s))


def _scatter(left, time_s):
    return float(np.sqrt(left / len(time_s)))


def _thrown(after_s, upward_m_s, terminal_m_s):
    """Height gained after so many seconds by a body thrown upwards into air with square drag."""
    g = STANDARD_GRAVITY_M_S2
    rise_s = terminal_m_s / g * np.arctan(upward_m_s / terminal_m_s)
    apex_m = terminal_m_s**2 / (2 * g) * np.log1p((upward_m_s / terminal_m_s) ** 2)
    rising = np.minimum(after_s, rise_s)
    # Upwards the drag adds to gravity: tangent and cosine instead of their hyperbolic sisters.
    angle = np.arctan(upward_m_s / terminal_m_s)
    rise_m = terminal_m_s**2 / g * np.log(np.cos(angle - g * rising / terminal_m_s) / np.cos(angle))
    x = g * np.maximum(after_s - rise_s, 0.0) / terminal_m_s
    log_cosh = x + np.log1p(np.exp(-2 * x)) - np.log(2.0)
    return np.where(after_s <= rise_s, rise_m, apex_m - terminal_m_s**2 / g * log_cosh)


def _line_errors(x, y):
    """Sums of squares that are left of straight lines; x, y: (trials, n)."""
    x = x - x.mean(axis=1, keepdims=True)
    y = y - y.mean(axis=1, keepdims=True)
    xx, xy, yy = (x * x).sum(axis=1), (x * y).sum(axis=1), (y * y).sum(axis=1)
    # Where a line fits perfectly, rounding may leave a little less than nothing.
    return np.maximum(yy - np.divide(xy * xy, xx, out=np.zeros_like(xx), where=xx > 0), 0.0)


def _line(x, y):
    """Least squares: (sum of squares left, y at x = 0, slope)."""
    xx = float(((x - x.mean()) ** 2).sum())
    slope = float(((x - x.mean()) * (y - y.mean())).sum()) / xx if xx > 0 else 0.0
    level = float(y.mean() - slope * x.mean())
    return float(((y - level - slope * x) ** 2).sum()), level, slope


def _search(errors, earliest_s, latest_s, freedom, fine=True):
    """The time with the smallest error, and how far from it the error grows by one variance."""
    step_s = max((latest_s - earliest_s) / 400, 1e-3)
    times = np.arange(earliest_s, latest_s + step_s / 2, step_s)
    values = errors(times)
    for _ in range(2 if fine else 0):
        best = int(np.argmin(values))
        inside = np.flatnonzero(values <= values[best] * (1 + 1 / max(freedom, 1)))
        first, last = max(inside[0] - 1, 0), min(inside[-1] + 1, len(times) - 1)
        times = np.linspace(times[first], times[last], 201)
        values = errors(times)
    best = int(np.argmin(values))
    inside = np.flatnonzero(values <= values[best] * (1 + 1 / max(freedom, 1)))
    return float(times[best]), float(times[inside[-1]] - times[inside[0]]) / 2
