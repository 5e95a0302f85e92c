"""What the statements about winds say alike."""

import numpy as np

from ground.analyse.winds import LAYER_M
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, statement

SOURCE = "fix.latitude_deg, fix.longitude_deg"
METHOD = "drift on the WGS 84 ellipsoid in layers of {:.0f} m, Huber's robust fit"
OF_LAYERS = METHOD.format(LAYER_M)
POINTS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
NOT_TO_THE_TOP = "the data begin or end high up, and it may have been more beyond them"
FAST_FALL_M_S = 15.0  # a payload that falls faster than this lags behind a changing wind


def caveats_of(winds, index=None):
    """Say what makes a layer, or the whole profile, less sure."""
    from_fall = winds.from_fall if index is None else winds.from_fall[[index]]
    rate = winds.all.rate_m_s if index is None else winds.all.rate_m_s[[index]]
    said = []
    if (from_fall & (-rate > FAST_FALL_M_S)).any():
        said.append("part of it is from a fast fall, in which a payload lags behind a wind that changes")
    missing_m = float(np.diff(winds.all.middle_m).max()) if index is None and len(winds.all) > 1 else 0.0
    if missing_m > 2 * LAYER_M:
        said.append(f"the winds of {(missing_m - LAYER_M) / 1000:.1f} km of height are not known, for lack of fixes")
    return said


def point(from_deg):
    """Give the name of the nearest of eight points of the compass."""
    return POINTS[round(from_deg / 45.0) % 8]


def of_layer(case, layers, index, title, text, caveats=(), method=OF_LAYERS, more_m_s=0.0):
    """Make the statement of one layer. text: may name {value}, {uncertainty}, {point}, {degrees}, {height};
    more_m_s: another part of the uncertainty (k = 2), independent of the layer's own; NaN if there is none to give.
    """
    from_deg, time_s = float(layers.from_deg[index]), float(layers.time_s[index])
    says = {
        "point": point(from_deg), "degrees": f"{from_deg:.0f} degrees",
        "height": Quantity(float(layers.middle_m[index]), "m"),
    }  # fmt: skip
    half_s = abs(float((layers.top_m[index] - layers.bottom_m[index]) / (2 * layers.rate_m_s[index] or 1.0)))
    return statement(
        title, text, value=float(layers.speed_m_s[index]), unit="m/s", decimals=1, says=says,
        uncertainty=float(np.hypot(layers.uncertainty_m_s[index], more_m_s)), caveats=caveats,
        height_m=float(layers.middle_m[index]),
        evidence=[evidence("value", SOURCE, method, int(layers.samples[index]))],
        span=case.span(time_s - min(half_s, 300.0), time_s + min(half_s, 300.0)), **case.at(time_s),
    )  # fmt: skip


def span_of(case, layers):
    """Give the keys of a statement that rests on all of these layers."""
    return case.span(float(layers.time_s.min()), float(layers.time_s.max()))
