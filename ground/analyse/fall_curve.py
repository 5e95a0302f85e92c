"""The curve of a fall: how fast at which height, and how dense the air was there."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.drag import ballistic_coefficient
from ground.analyse.robust import in_steps, local_slopes, scatter
from ground.physics.atmosphere import gravity_m_s2

WINDOW = 9  # steps of time that a local slope rests on
FIX_STEP_S, PRESSURE_STEP_S = 1.0, 1.5
STEADY_RATIOS = (0.6, 1.6)  # drag over weight, where a fall tells the drag well


@dataclass(frozen=True)
class FallCurve:
    """Speeds along a fall, float arrays (n,) in order of time.

    time_s: on the axis; height_m: above mean sea level; speed_m_s: downwards; acceleration_m_s2: downwards;
    density_kg_m3: of the air; ballistic_kg_m2: mass over drag area (see ballistic_coefficient), NaN where the
    fall does not tell it; from_fix: 1 where heights are from fixes; reach_s: half the time that a speed rests
    on, 0 for a receiver's own; noise_m_s: standard deviation of a speed.
    """

    time_s: np.ndarray
    height_m: np.ndarray
    speed_m_s: np.ndarray
    acceleration_m_s2: np.ndarray
    density_kg_m3: np.ndarray
    ballistic_kg_m2: np.ndarray
    from_fix: np.ndarray
    reach_s: np.ndarray
    noise_m_s: float = float("nan")

    def __len__(self):
        return len(self.time_s)

    def where(self, mask):
        parts = (getattr(self, name) for name in list(self.__dataclass_fields__)[:8])
        return FallCurve(*(part[mask] for part in parts), self.noise_m_s)


def fall_curve(time_s, height_m, from_fix, density_of, reported=None) -> FallCurve:
    """Find the speeds along a fall.

    time_s, height_m: float arrays (n,), times not decreasing; from_fix: (n,), 1 or 0, by what the height was
    measured. density_of: function (time_s, height_m) -> kg/m3, for arrays. reported: (time_s, speed downwards m/s)
    of the receiver's own, or None; it is used at its times if it agrees with the heights.
    Method: Theil-Sen slopes over nine steps of time; accelerations likewise from the speeds.
    """
    pieces = []
    for kind, step_s in ((1, FIX_STEP_S), (0, PRESSURE_STEP_S)):
        of_kind = from_fix == kind
        if not of_kind.any():
            continue
        usual_s = float(np.median(np.diff(time_s[of_kind]))) if of_kind.sum() > 1 else step_s
        t, h, _ = in_steps(time_s[of_kind], height_m[of_kind], max(step_s, usual_s) * 0.999)
        width = WINDOW if usual_s <= 1.5 * step_s else 5 if usual_s <= 3.0 * step_s else 3
        speed = -local_slopes(t, h, width)
        half = width // 2
        reach_s = np.full(len(t), np.inf)
        if len(t) >= width:
            reach_s[half:-half] = t[2 * half :] - t[: -2 * half]
        speed[reach_s > 2.5 * width * max(step_s, usual_s)] = np.nan  # a gap
        pieces.append((t, h, speed, np.full(len(t), float(kind)), reach_s / 2))
    if not pieces:
        return FallCurve(*(np.zeros(0) for _ in range(8)))
    columns = [np.concatenate(parts) for parts in zip(*pieces)]
    order = np.argsort(columns[0], kind="stable")
    order = order[np.isfinite(columns[2][order])]
    t, h, speed, kind, reach_s = (column[order] for column in columns)
    own = reported is not None and agrees(reported, t, speed)
    if own:
        near = _near(reported[0], t)
        speed, reach_s = np.where(near, np.interp(t, *reported), speed), np.where(near, 0.0, reach_s)
    acceleration = _accelerations(t, speed)
    noise = _noise(speed, own)
    density = density_of(t, h)
    gravity = gravity_m_s2(h)
    share = 1.0 - acceleration / gravity
    telling = (share >= STEADY_RATIOS[0]) & (share <= STEADY_RATIOS[1]) & (speed > 0.5)
    with np.errstate(divide="ignore", invalid="ignore"):
        ballistic = np.where(telling, ballistic_coefficient(speed, acceleration, density, gravity), np.nan)
    return FallCurve(t, h, speed, acceleration, density, ballistic, kind, reach_s, float(noise))


def agrees(reported, time_s, speed_m_s):
    """True if most of a receiver's own speeds, (time_s, speed), are within 0.7 m/s and 5 % of the heights'."""
    if len(reported[0]) < WINDOW or len(time_s) < WINDOW:
        return False
    near = _near(reported[0], time_s)
    if near.mean() < 0.8:
        return False
    off = np.abs(np.interp(time_s[near], *reported) - speed_m_s[near])
    return bool(np.mean(off <= 0.7 + 0.05 * np.abs(speed_m_s[near])) > 0.75)


def _near(sample_times_s, time_s):
    """True where a sample lies within 1.5 s of a time."""
    after = np.clip(np.searchsorted(sample_times_s, time_s), 0, len(sample_times_s) - 1)
    before = np.maximum(after - 1, 0)
    apart = np.minimum(np.abs(sample_times_s[after] - time_s), np.abs(sample_times_s[before] - time_s))
    return apart <= 1.5


def _noise(speed, own):
    """Standard deviation of single speeds. Slopes of windows that overlap err alike, so for them windows side by
    side are compared, which counts gusts as noise; a receiver's own speeds stand for themselves.
    """
    apart = 1 if own else WINDOW
    if len(speed) < 4 * apart:
        return float("nan")
    bends = speed[: -2 * apart] - 2.0 * speed[apart:-apart] + speed[2 * apart :]
    return scatter(bends) / np.sqrt(6.0)


def _accelerations(time_s, speed_m_s):
    """Slopes of the speed over nine neighbours, at the ends those of the nearest."""
    found = local_slopes(time_s, speed_m_s, WINDOW)
    known = np.flatnonzero(np.isfinite(found))
    if len(known) == 0:
        return np.zeros(len(time_s))
    return np.interp(np.arange(len(found)), known, found[known])
