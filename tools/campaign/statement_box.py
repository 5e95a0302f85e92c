"""What the box of a simulated flight really did after the climb: its tumbling and its free fall, without noise."""

import numpy as np

from ground.physics.atmosphere import STANDARD_GRAVITY_M_S2, gravity_m_s2
from onboard.simulator.world.chance import generator
from onboard.simulator.world.motion import PERIOD_MS, angles_rad, rates_in_box, shocks
from onboard.simulator.world.stream import stream_times_s
from onboard.simulator.world.vertical import LEAK

BOX = "truth-box.json"
_STEP_S = PERIOD_MS / 1000.0
# As the statements say it: tumbling lasts until the root mean square over 5 s of the rate across stays below twice
# what is usual later in the fall; nearly weightless is a force below 0.3 g.
_OVER_S, _TIMES_USUAL, _LATER_S, _CALM_S = 5.0, 2.0, 180.0, 10.0
_WEIGHTLESS_G, _FALLS_FREE_S = 0.3, 30.0
_SHOCK_S = 0.1  # a blow dies away over this time, see the simulator's motion.py


def box_truth(truth, mission, seed):
    """Give tumbled_s, turns and free_fall_s of a Truth, a dict; empty where nothing fell, or without a motion chip."""
    end_s, landing_s = truth.climb_end.time_s, truth.landing.time_s
    if mission.motion.chip == "none" or truth.climb_ended_by == LEAK:
        return {}
    time_s = stream_times_s(truth, PERIOD_MS)
    rates = np.degrees(rates_in_box(angles_rad(truth, time_s, generator(seed, "motion"))))
    across = np.hypot(rates[0], rates[1])
    width = round(_OVER_S / _STEP_S)
    size = np.sqrt(np.convolve(across**2, np.full(width, 1.0 / width), "same"))
    usual = float(np.median(size[(time_s > min(end_s + _LATER_S, (end_s + landing_s) / 2)) & (time_s < landing_s)]))
    wild_s = time_s[(size > _TIMES_USUAL * usual) & (time_s > end_s - 1.0) & (time_s < landing_s)]
    calm_s = end_s
    if len(wild_s):
        calm_s = float(wild_s[np.flatnonzero(np.append(np.diff(wild_s), np.inf) > _CALM_S)[0]])
    turning = (time_s >= end_s - 1.0) & (time_s <= calm_s)
    upward_m_s2 = np.interp(time_s, truth.time_s, np.gradient(truth.velocity_up_m_s, truth.time_s))
    upward_m_s2 = upward_m_s2 + gravity_m_s2(np.interp(time_s, truth.time_s, truth.height_m))
    since_s = time_s - end_s
    blow_g = np.where(since_s >= 0.0, shocks(truth)[0][1] * np.exp(-np.maximum(since_s, 0.0) / _SHOCK_S), 0.0)
    force_g = np.hypot(upward_m_s2 / STANDARD_GRAVITY_M_S2, blow_g)
    near = (since_s > -2.0) & (since_s < _FALLS_FREE_S)
    return {
        "tumbled_s": calm_s - end_s, "turns": float(across[turning].sum() * _STEP_S / 360.0),
        "free_fall_s": float((force_g[near] < _WEIGHTLESS_G).sum() * _STEP_S),
    }  # fmt: skip
