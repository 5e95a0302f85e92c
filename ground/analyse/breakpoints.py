"""Times at which a height series changes its course: a bent line, and a climb that ends in a fall."""

from dataclasses import dataclass

import numpy as np

from ground.physics.atmosphere import STANDARD_GRAVITY_M_S2

FALL_SPEEDS_M_S = np.geomspace(2.0, 150.0, 18)  # terminal speeds that the burst fit tries
BETWEEN, SPEED_ROUNDS = 7, 4  # then so many between the best one's neighbours, again and again
# A balloon that is let go gathers speed: its rate over its acceleration, s. Free lift and the masses of usual
# payloads give 1 to 3 s (Newton's second law; the usual masses are common practice, no source).
RUN_UPS_S = (0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0)
USUAL_RUN_UP_S, RUN_UP_SPREAD_S = 1.3, 1.0
COARSE, FINER, GRID = 31, 11, 121  # times that a search tries
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


def fit_release(time_s, height_m, earliest_s, latest_s):
    """Find when a payload that lies still is let go and gathers speed. Arguments and return as for fit_bend.

    Method: a body under a steady force and a drag with the square of its speed, from rest: height = level +
    rate * T * log(cosh(t / T)), with T, its steady rate over its first acceleration, from RUN_UPS_S. Least squares,
    in which a T counts as a measurement of its own, USUAL_RUN_UP_S with the deviation RUN_UP_SPREAD_S, because
    heights that scatter by metres do not show it. The uncertainty includes what the choice of T leaves open.
    """
    freedom = max(len(time_s) - 4, 1)

    def errors_of(run_up_s):
        def errors(bends_s):
            run = _gathered(np.maximum(time_s - bends_s[:, None], 0.0), run_up_s)
            return _line_errors(run, np.broadcast_to(height_m, run.shape))

        return errors

    fits = [_search(errors_of(run_up_s), earliest_s, latest_s, freedom) for run_up_s in RUN_UPS_S]
    sums = np.array([float(errors_of(t)(np.array([fit[0]]))[0]) for t, fit in zip(RUN_UPS_S, fits, strict=True)])
    unusual = ((np.array(RUN_UPS_S) - USUAL_RUN_UP_S) / RUN_UP_SPREAD_S) ** 2
    # Neighbouring samples err alike, so that the fit says less than so many samples would.
    cost = sums / max(float(sums.min()) / (freedom / 10.0), 1e-9) + unusual
    weights = np.exp(-(cost - cost.min()) / 2)
    weights /= weights.sum()
    times = np.array([fit[0] for fit in fits])
    bend_s = float((weights * times).sum())
    spread_s = float(np.sqrt((weights * (times - bend_s) ** 2).sum()))
    best = int(np.argmin(cost))
    run = _gathered(np.maximum(time_s - bend_s, 0.0), RUN_UPS_S[best])
    left, level_m, rate_m_s = _line(run, height_m)
    uncertainty_s = float(np.hypot(fits[best][1], spread_s))
    return Breakpoint(bend_s, uncertainty_s, level_m, rate_m_s, _scatter(left, time_s), len(time_s))


def _gathered(run, run_up_s):
    """The time's worth of steady climb that a body from rest has behind it: T log cosh(t / T)."""
    if run_up_s == 0.0:
        return run
    x = run / run_up_s
    return run_up_s * (x + np.log1p(np.exp(-2 * x)) - np.log(2.0))


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

    later = int(np.searchsorted(time_s, earliest_s, side="right"))  # no earlier sample can be of the fall

    def errors_of(fall):
        def errors(ends_s):
            run = time_s - ends_s[:, None]
            straight_m = np.tile(height_m, (len(ends_s), 1))
            straight_m[:, later:] -= fall(np.maximum(run[:, later:], 0.0))
            return _line_errors(np.minimum(run, 0.0), straight_m)

        return errors

    def best(shape):
        speeds_m_s = FALL_SPEEDS_M_S
        for _ in range(SPEED_ROUNDS):
            sums = [_least(errors_of(shape(speed_m_s)), earliest_s, latest_s) for speed_m_s in speeds_m_s]
            least = int(np.argmin(sums))
            found = sums[least], shape(speeds_m_s[least])
            around = speeds_m_s[[max(least - 1, 0), min(least + 1, len(speeds_m_s) - 1)]]
            speeds_m_s = np.linspace(*around, BETWEEN)
        return found

    (thrown_left, fall), (steady_left, other) = best(thrown), best(steady)
    if steady_left < STEADY_SHARE * thrown_left:
        fall = other
    end_s, uncertainty_s = _search(errors_of(fall), earliest_s, latest_s, len(time_s) - 4)
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


def _least(errors, earliest_s, latest_s):
    """The smallest error of any time: of a coarse grid, and of finer ones around its best time."""
    times = np.linspace(earliest_s, latest_s, COARSE)
    for _ in range(3):
        best = int(np.argmin(errors(times)))
        times = np.linspace(times[max(best - 1, 0)], times[min(best + 1, len(times) - 1)], FINER)
    return float(errors(times).min())


def _search(errors, earliest_s, latest_s, freedom):
    """The time with the smallest error, and how far from it the error grows by one variance."""
    times = np.linspace(earliest_s, latest_s, GRID)
    values = errors(times)
    for _ in range(2):
        best = int(np.argmin(values))
        inside = np.flatnonzero(values <= values[best] * (1 + 1 / max(freedom, 1)))
        first, last = max(inside[0] - 1, 0), min(inside[-1] + 1, len(times) - 1)
        times = np.linspace(times[first], times[last], GRID)
        values = errors(times)
    best = int(np.argmin(values))
    inside = np.flatnonzero(values <= values[best] * (1 + 1 / max(freedom, 1)))
    return float(times[best]), float(times[inside[-1]] - times[inside[0]]) / 2
