"""A jet stream in a profile of the wind."""

from dataclasses import dataclass

import numpy as np

# "... a strong, narrow current concentrated along a nearly horizontal axis ..., characterised by strong vertical
# and lateral shears and featuring one or more velocity maxima. ... The vertical shear is of the order of 5 to 10
# m/s per km ... An arbitrary lower limit of 30 m/s is assigned to the speed along the axis": World Meteorological
# Organization's definition of 1958, as quoted in encyclopaedias. The WMO's International Meteorological Vocabulary
# (WMO-No. 182, from memory) adds "near the tropopause".
JET_SPEED_M_S = 30.0
JET_FALLS_BY_M_S = 5.0  # above and below: one kilometre of the weakest shear named there
# Where tropopauses are, from the poles to the tropics, with some kilometres to spare (common practice, no source).
NEAR_TROPOPAUSE_M = (5_000.0, 18_000.0)
AROUND_TROPOPAUSE_M = 4_000.0
HIGH_ENOUGH_M = 14_000.0  # a profile that ends lower has not seen where jets are
NONE, FOUND, UNKNOWN = "none", "found", "unknown"


@dataclass(frozen=True)
class Jet:
    """state: FOUND, NONE or UNKNOWN. index: of the layer (FOUND). why: half a sentence (NONE, UNKNOWN)."""

    state: str
    index: int | None = None
    why: str | None = None


def find_jet(middle_m, speed_m_s, uncertainty_m_s, tropopause_m=None) -> Jet:
    """Find a jet stream in a profile of the wind.

    middle_m: heights, float array (n,), rising. speed_m_s, uncertainty_m_s (k = 2): float arrays (n,).
    tropopause_m: height of the tropopause if it is known; a jet lies near it.
    Returns a Jet: the strongest layer near the tropopause that has JET_SPEED_M_S or more and, above and below,
    winds weaker by JET_FALLS_BY_M_S and by the uncertainty before they grow stronger again.
    """
    middle_m, speed_m_s, spread = (np.asarray(part, float) for part in (middle_m, speed_m_s, uncertainty_m_s))
    if len(middle_m) < 3:
        return Jet(UNKNOWN, why="fewer than three layers of the wind are known")
    lowest_m, highest_m = NEAR_TROPOPAUSE_M
    if tropopause_m is not None:
        lowest_m, highest_m = tropopause_m - AROUND_TROPOPAUSE_M, tropopause_m + AROUND_TROPOPAUSE_M
    near = np.flatnonzero((middle_m >= lowest_m) & (middle_m <= highest_m))
    open_ended = False
    for index in near[np.argsort(-speed_m_s[near], kind="stable")]:
        if speed_m_s[index] < JET_SPEED_M_S:
            break
        below = _falls(speed_m_s[:index][::-1], speed_m_s[index], spread[index])
        above = _falls(speed_m_s[index + 1 :], speed_m_s[index], spread[index])
        if below == FOUND and above == FOUND:
            return Jet(FOUND, int(index))
        open_ended |= NONE not in (below, above)
    if open_ended:
        return Jet(UNKNOWN, why="the wind was 30 m/s or more, but weaker wind on both sides of it was not seen")
    top_m = float(middle_m.max())
    if top_m < min(HIGH_ENOUGH_M, highest_m):
        return Jet(UNKNOWN, why=f"the wind is known only up to {top_m / 1000:.1f} km, and jets can be higher")
    if len(near) < 3 or np.diff(np.concatenate([[lowest_m], middle_m[near]])).max() > 2_000.0:
        return Jet(UNKNOWN, why="the wind is not known in all of the heights where a jet can be")
    return Jet(NONE, why="no wind of 30 m/s or more near the tropopause had weaker wind above and below it")


def _falls(outwards_m_s, peak_m_s, spread_m_s):
    """FOUND if speeds fall far enough before they exceed the peak, NONE if they exceed it, else UNKNOWN."""
    low = np.flatnonzero(outwards_m_s <= peak_m_s - max(JET_FALLS_BY_M_S, spread_m_s))
    high = np.flatnonzero(outwards_m_s > peak_m_s)
    if len(low) and (len(high) == 0 or low[0] < high[0]):
        return FOUND
    return NONE if len(high) else UNKNOWN
