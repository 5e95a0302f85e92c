"""Wind by layers of height from the drift of a payload: displacement on the ellipsoid over time."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.curves import mean_rates
from ground.analyse.gusts import gusts_m_s, share_of_mean, usual_gust_m_s
from ground.analyse.runs import lengths, medians
from ground.physics.atmosphere import STANDARD_GRAVITY_M_S2
from ground.physics.geodesy import azimuth_deg, curvature_radii_m, distance_m

LAYER_M, FINE_M = 500.0, 200.0
LEAST_SAMPLES, LEAST_S = 5, 4.0
MOST_FITTED = 400  # more samples of a layer are thinned
SAME_PLACES = 3  # so many fixes of exactly one place are a receiver that stands, not a payload that does
LEAST_UNCERTAINTY_M_S = 0.05
# A thing that falls or rises steadily takes on a new wind over the time speed / gravity * this factor. For a
# payload under a parachute it is 1 (drag balances weight); a balloon's drag balances only its free lift, about a
# fifth of all mass that moves (common practice, no source).
FALL_LAG, CLIMB_LAG = 1.0, 5.0


@dataclass(frozen=True)
class WindLayers:
    """Winds of layers, from below upwards; float arrays (n,).

    bottom_m, top_m: the layer; middle_m, time_s: middle of the samples in it. east_m_s, north_m_s: velocity of
    the air, towards. uncertainty_m_s: of each of these two, expanded (k = 2). samples: how many fixes.
    rate_m_s: vertical speed of the payload. gust_m_s: scatter of the wind within the layers, one number.
    """

    bottom_m: np.ndarray
    top_m: np.ndarray
    middle_m: np.ndarray
    time_s: np.ndarray
    east_m_s: np.ndarray
    north_m_s: np.ndarray
    uncertainty_m_s: np.ndarray
    samples: np.ndarray
    rate_m_s: np.ndarray
    gust_m_s: float

    def __len__(self):
        return len(self.middle_m)

    @property
    def speed_m_s(self):
        """Speed, (n,)."""
        return np.hypot(self.east_m_s, self.north_m_s)

    @property
    def from_deg(self):
        """Where the wind comes from, degrees clockwise from true north, 0 to 360, (n,)."""
        return direction_from_deg(self.east_m_s, self.north_m_s)

    def where(self, mask):
        """The layers that a mask or index array selects."""
        fields = {name: value for name, value in vars(self).items() if name != "gust_m_s"}
        return WindLayers(**{name: value[mask] for name, value in fields.items()}, gust_m_s=self.gust_m_s)


def direction_from_deg(east_m_s, north_m_s):
    """Give where a wind comes from: degrees clockwise from true north, 0 to 360; scalars or arrays.

    Source: WMO-No. 8 (CIMO Guide), chapter 5 (from memory); in calm air the answer has no meaning.
    """
    return np.degrees(np.arctan2(-np.asarray(east_m_s), -np.asarray(north_m_s))) % 360.0


def wind_layers(
    time_s, latitude_deg, longitude_deg, height_m, velocity_m_s=None, thickness_m=LAYER_M, falling=False,
    gust_m_s=None,
) -> WindLayers:  # fmt: skip
    """Find the mean wind of each layer that a payload drifted through, upwards or downwards, once.

    time_s, latitude_deg, longitude_deg, height_m: float arrays (n,), in any order, NaN where missing; heights
    above mean sea level. velocity_m_s: float array (n, 2), east and north by the receiver's own speed and course,
    NaN where missing, or None; it must agree with the displacement or else the uncertainty grows.
    thickness_m: of the layers, whose borders are its multiples. falling: under a parachute, not a balloon.
    gust_m_s: of another part of the flight, because layers that are passed fast hardly show it; the greater counts.
    Returns WindLayers; layers with fewer than LEAST_SAMPLES fixes are left out.
    Method: geodesics on WGS 84 from the layer's middle, raised to its height; displacement over time from a curve
    fitted robustly (see mean_rates), so that wrong fixes hardly move it. The uncertainty joins gusts, lag behind a
    changing wind, and disagreement with velocity_m_s.
    """
    columns = [np.asarray(part, float) for part in (time_s, latitude_deg, longitude_deg, height_m)]
    velocity = np.full((len(columns[0]), 2), np.nan) if velocity_m_s is None else np.asarray(velocity_m_s, float)
    known = np.isfinite(columns).all(axis=0)
    known &= np.abs(np.where(known, columns[1], 99.0)) <= 90.0
    order = np.flatnonzero(known)
    order = order[np.argsort(columns[0][order], kind="stable")]
    order = order[~standing(columns[1][order], columns[2][order])]
    time_s, latitude, longitude, height_m = (part[order] for part in columns)
    velocity = velocity[order]
    bottom, place, start, counts = _runs(time_s, height_m, thickness_m)
    time_s, height_m, velocity = time_s[place], height_m[place], velocity[place]
    rates, left_m = mean_rates(
        time_s, np.array([*_displacements_m(latitude[place], longitude[place], height_m, start), height_m]), start
    )
    east, north, rate = rates.T
    begin_s, length = time_s[start], time_s[start + lengths(start, len(place)) - 1] - time_s[start]
    when, top = begin_s + length / 2, bottom + thickness_m
    lowest, highest = (
        part.reduceat(height_m, start) if len(start) else np.zeros(0) for part in (np.minimum, np.maximum)
    )
    middle = (lowest + highest) / 2
    gust = usual_gust_m_s(gusts_m_s(time_s, left_m[:2], start), gust_m_s)
    differs = _differences_m_s(velocity, rates[:, :2], start)
    lag_m = (FALL_LAG if falling else CLIMB_LAG) * rate**2 / STANDARD_GRAVITY_M_S2
    # Limits, so as of a rectangle: the lag, and fixes that lie to one side of the layer's middle.
    lags = _shear_per_s(middle, east, north) * np.hypot(lag_m, (bottom + top) / 2 - middle) / np.sqrt(3.0)
    gusty = gust**2 * share_of_mean(length)
    spread = 2.0 * np.sqrt(gusty + lags**2 + LEAST_UNCERTAINTY_M_S**2 / 4)
    # The receiver's velocities and its places see the same gusts; more than these is an error of one of them.
    spread = np.where(differs > spread, np.hypot(spread, differs), spread)
    return WindLayers(bottom, top, middle, when, east, north, spread, counts, rate, gust)


def standing(latitude_deg, longitude_deg):
    """Say which fixes belong to runs in which a receiver gives exactly one place again and again: bool (n,)."""
    if len(latitude_deg) < SAME_PLACES:
        return np.zeros(len(latitude_deg), bool)
    new = np.concatenate([[True], (np.diff(latitude_deg) != 0) | (np.diff(longitude_deg) != 0)])
    run = np.cumsum(new) - 1
    return np.bincount(run)[run] >= SAME_PLACES


def _runs(time_s, height_m, thickness_m):
    """Samples by layers: (bottoms (r,), indices of the samples (m,), where in them each layer begins (r,), how many
    samples each has (r,)). Layers with too few are left out, and of many samples MOST_FITTED are taken.
    """
    number = np.floor(height_m / thickness_m)
    order = np.argsort(number, kind="stable")
    layers, first = np.unique(number[order], return_index=True)
    parts = np.split(order, first[1:]) if len(order) else []
    enough = np.array(
        [len(part) >= LEAST_SAMPLES and time_s[part[-1]] - time_s[part[0]] >= LEAST_S for part in parts], bool
    )
    parts = [part for part, good in zip(parts, enough, strict=True) if good]
    thinned = [
        part[np.linspace(0, len(part) - 1, MOST_FITTED).round().astype(int)] if len(part) > MOST_FITTED else part
        for part in parts
    ]
    start = np.cumsum([0, *map(len, thinned)])[: len(parts)]
    counts = np.array([len(part) for part in parts], float)
    return layers[enough] * thickness_m, np.concatenate([np.zeros(0, int), *thinned]), start, counts


def _displacements_m(latitude_deg, longitude_deg, height_m, start):
    """East and north of fixes from the median place of their layer, at its median height: float array (2, n)."""
    count = lengths(start, len(height_m))
    middles = [medians(part, start) for part in (latitude_deg, longitude_deg)]
    latitude, longitude = (np.repeat(part, count) for part in middles)
    # Longitudes may run on beyond 180 degrees; a geodesic does not mind.
    length_m = distance_m(latitude, longitude, latitude_deg, longitude_deg)
    angle = np.radians(azimuth_deg(latitude, longitude, latitude_deg, longitude_deg))
    longer = np.repeat(raised(middles[0], medians(height_m, start)), count)
    return np.array([np.sin(angle), np.cos(angle)]) * length_m * longer


def _differences_m_s(velocity_m_s, rates_m_s, start):
    """How far the receiver's own velocities are from the layers' drift, (r,); 0 where it has said too little."""
    told = np.isfinite(velocity_m_s).all(axis=1)
    part = np.where(told[:, None], velocity_m_s, np.nan)
    off = np.abs(np.array([medians(column, start) for column in part.T]).T - rates_m_s).max(axis=1)
    said = np.add.reduceat(told.astype(int), start) if len(start) else np.zeros(0)
    return np.where(said >= LEAST_SAMPLES, off, 0.0)


def raised(latitude_deg, height_m):
    """How much longer a way is at a height than on the ellipsoid: a factor; scalars or arrays."""
    meridian_m, prime_vertical_m = curvature_radii_m(latitude_deg)
    return 1.0 + np.asarray(height_m) / np.sqrt(meridian_m * prime_vertical_m)


def _shear_per_s(middle_m, east_m_s, north_m_s):
    """Size of the wind's change with height at each layer, m/s per m; 0 for a single layer."""
    if len(middle_m) < 2:
        return np.zeros(len(middle_m))
    return np.hypot(np.gradient(east_m_s, middle_m), np.gradient(north_m_s, middle_m))
