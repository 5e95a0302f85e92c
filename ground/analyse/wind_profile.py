"""The winds of climb and fall as one profile, and how the wind changes with height."""

from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np


def joined(climb, fall):
    """Make one profile of two: each height from the part of the flight that knows its wind better.

    climb, fall: WindLayers of the same thickness. Returns (WindLayers, bool array (n,): from the fall).
    """
    both = {}
    for layers, falling in ((climb, False), (fall, True)):
        for index in range(len(layers)):
            spread = layers.uncertainty_m_s[index]
            other = both.get(layers.bottom_m[index])
            if other is None or spread < other[0]:
                both[layers.bottom_m[index]] = (spread, falling, index)
    chosen = [both[bottom] for bottom in sorted(both)]
    is_fall = np.array([falling for _, falling, _ in chosen], bool)
    where = np.array([index + len(climb) * falling for _, falling, index in chosen], int)
    values = {
        name: np.concatenate([getattr(climb, name), getattr(fall, name)])[where]
        for name in vars(climb) if name != "gust_m_s"
    }  # fmt: skip
    return replace(climb, **values), is_fall


def choice_spread(values, uncertainties, index):
    """Give how much choosing the largest of many uncertain values lifts it on average, in their unit.

    values, uncertainties (k = 2): float arrays (n,); index: of the largest. Of m values that may as well be the
    largest, errors of one standard deviation s lift the one that seems so by s times the expected maximum of m
    normal variables: 0 without a rival. Source: G. Blom, Statistical Estimates and Transformed Beta-Variables, 1958
    (from memory): that maximum is about the quantile (m - 3/8) / (m + 1/4).
    """
    values, uncertainties = np.asarray(values, float), np.asarray(uncertainties, float)
    # The largest stands out by its own luck, so that rivals lie farther below it than two values usually differ.
    rivals = values + uncertainties + uncertainties[index] >= values[index]
    count = max(int(rivals.sum()), 1)
    return float(uncertainties[index] / 2.0) * NormalDist().inv_cdf((count - 0.375) / (count + 0.25))


def peak_spread(layers, index, chosen_from):
    """Give how much the strongest wind in a layer can differ from the layer's mean, m/s, expanded: by the change
    over half of it (over all of it in the highest layer, above which the wind may have grown on), and by the choice.

    layers: WindLayers; index: of the layer; chosen_from: WindLayers of the same thickness among which it is the
    strongest.
    """
    near = layers.speed_m_s[max(index - 1, 0) : index + 2]
    change = float(layers.speed_m_s[index] - near.min()) / (1.0 if index == len(layers) - 1 else 2.0)
    best = int(np.argmax(chosen_from.speed_m_s))
    return float(np.hypot(change, choice_spread(chosen_from.speed_m_s, chosen_from.uncertainty_m_s, best)))


@dataclass(frozen=True)
class Shear:
    """Change of the wind vector with height, float arrays (n,): shear_m_s_km and its expanded uncertainty (k = 2)
    at middle_m, between from_m and to_m.
    """

    middle_m: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    shear_m_s_km: np.ndarray
    uncertainty_m_s_km: np.ndarray


def wind_shear(layers) -> Shear:
    """Give the size of the vector difference between the winds of the layers next above and below each layer,
    over the height between them, where these are no gap: m/s per km.

    layers: WindLayers. Source: bulk shear, e.g. AMS Glossary of Meteorology, "wind shear" (from memory).
    """
    thickness_m = float(np.median(layers.top_m - layers.bottom_m)) if len(layers) else 1.0
    low, high = np.arange(max(len(layers) - 2, 0)), np.arange(2, max(len(layers), 2))
    close = layers.bottom_m[high] - layers.bottom_m[low] < 2.5 * thickness_m
    low, high = low[close], high[close]
    height_km = (layers.middle_m[high] - layers.middle_m[low]) / 1000.0
    east = layers.east_m_s[high] - layers.east_m_s[low]
    north = layers.north_m_s[high] - layers.north_m_s[low]
    spread = np.hypot(layers.uncertainty_m_s[high], layers.uncertainty_m_s[low])
    return Shear(
        (layers.middle_m[high] + layers.middle_m[low]) / 2, layers.middle_m[low], layers.middle_m[high],
        np.hypot(east, north) / height_km, spread / height_km,
    )  # fmt: skip
