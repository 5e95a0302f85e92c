"""Statements about the wind, from the payload's drift."""

import numpy as np

from ground.analyse import jet
from ground.analyse.wind_profile import choice_spread, peak_spread, wind_shear
from ground.analyse.winds import FINE_M, LAYER_M
from ground.statements.quantity import Quantity
from ground.statements.shared import ends_at_top
from ground.statements.statement import evidence, missing, statement
from ground.statements.temperature import find_tropopauses
from ground.statements.wind_facts import SURFACE_M, drift, find_winds
from ground.statements.wind_ground_speed import ground_speed
from ground.statements.wind_words import (
    METHOD, NOT_TO_THE_TOP, OF_LAYERS, SOURCE, caveats_of, of_layer, point, span_of,
)

NO_WIND = "there are too few fixes during the climb and the fall"
NO_JET = (
    "The payload met no jet stream: at the heights where these blow, no wind of {limit} or more had weaker wind "
    "above and below it."
)
ABOVE_M = 100.0  # a flight that went so much higher than its last fix may have met stronger wind there
COLUMNS = (
    ("speed", "m/s"), ("from", "deg"), ("east", "m/s"), ("north", "m/s"), ("uncertainty", "m/s"), ("fixes", "1"),
)  # fmt: skip


def statements(case):
    """Give greatest_ground_speed, wind_layers, strongest_wind, jet, wind_shear, surface_wind."""
    winds = case.once(find_winds)
    return {
        "greatest_ground_speed": ground_speed(case),
        "wind_layers": _layers(case, winds),
        "strongest_wind": _strongest(case, winds),
        "jet": _jet(case, winds),
        "wind_shear": _shear(case, winds),
        "surface_wind": _surface_wind(case, winds),
    }


def _layers(case, winds):
    if len(winds.all) == 0:
        return missing("Wind by height", "1", NO_WIND)
    rows = []
    for bottom in winds.all.bottom_m:
        row = [float(bottom), float(bottom + LAYER_M)]
        for layers in (winds.climb, winds.fall):
            where = np.flatnonzero(layers.bottom_m == bottom)
            row += _row(layers, int(where[0])) if len(where) else [None] * 6
        rows.append(row)
    columns = [["bottom", "m"], ["top", "m"]]
    columns += [[f"{part} {name}", unit] for part in ("climb", "fall") for name, unit in COLUMNS]
    low, high = 0, len(winds.all) - 1
    strongest = int(np.argmax(winds.all.speed_m_s))
    named = sorted({low, strongest, high})
    parts = [f"{{speed{index}}} from the {{point{index}}} at {{height{index}}}" for index in named]
    text = f"The wind was measured in {{value}} layers of air. It was {', '.join(parts[:-1])} and {parts[-1]}."
    if len(parts) == 1:
        text = f"The wind was measured in one layer of air. It was {parts[0]}."
    says = {}
    for index in named:
        says[f"speed{index}"] = Quantity(float(winds.all.speed_m_s[index]), "m/s")
        says[f"point{index}"] = point(float(winds.all.from_deg[index]))
        says[f"height{index}"] = Quantity(round(float(winds.all.middle_m[index]), -2), "m")
    return statement(
        "Wind by height", text, value=len(winds.all), unit="1", says=says, table={"columns": columns, "rows": rows},
        evidence=[evidence("value", SOURCE, OF_LAYERS, int(winds.all.samples.sum()))],
        span=span_of(case, winds.all), caveats=caveats_of(winds),
    )  # fmt: skip


def _row(layers, index):
    values = (layers.speed_m_s, layers.from_deg, layers.east_m_s, layers.north_m_s, layers.uncertainty_m_s)
    return [round(float(column[index]), 2) for column in values] + [int(layers.samples[index])]


def _strongest(case, winds):
    if len(winds.all) == 0:
        return missing("Strongest wind", "m/s", NO_WIND)
    coarse = int(np.argmax(winds.all.speed_m_s))
    layers, index, thickness_m = _thinner(winds, coarse)
    caveats, unseen_m = caveats_of(winds, coarse), _unseen_m(case, winds)
    text = "The strongest wind was {value}, give or take {uncertainty}, from the {point} ({degrees}), at {height}."
    more_m_s = peak_spread(layers, index, winds.all if thickness_m == LAYER_M else winds.fine)
    if index == len(layers) - 1 and len(winds.all) > 1:  # above its middle the wind may have grown on as below it
        grown_m_s = np.abs(np.diff(winds.all.speed_m_s[-2:]) / np.diff(winds.all.middle_m[-2:]))[0]
        more_m_s = max(more_m_s, float(grown_m_s) * LAYER_M / 2)
    if unseen_m:
        text = "The strongest wind was at least {value}, from the {point} ({degrees}), at {height}. "
        text += "It may have been stronger at heights where the payload's place is not known."
        caveats.append(f"the winds of {unseen_m / 1000:.1f} km of height are unknown and may have been stronger")
        more_m_s = np.nan
    if ends_at_top(case):
        caveats.append(NOT_TO_THE_TOP)
    return of_layer(case, layers, index, "Strongest wind", text, caveats, METHOD.format(thickness_m), more_m_s)


def _thinner(winds, index):
    """(layers, index, thickness in m) of the peak of a current whose thick layer is given: as thin layers show it,
    if there are fixes enough for them.
    """
    layers = winds.all
    thin = winds.fine.where(np.abs(winds.fine.middle_m - layers.middle_m[index]) < LAYER_M)
    if len(thin) and thin.speed_m_s.max() >= layers.speed_m_s[index]:
        return thin, int(np.argmax(thin.speed_m_s)), FINE_M
    return layers, index, LAYER_M


def _unseen_m(case, winds):
    """How much of the flight's height, in one piece, has no known wind; 0 for a usual gap."""
    above_m = float(case.heights.combined["height_m"].max()) - float(case.once(drift)[3].max())
    widest_m = float(np.diff(winds.all.bottom_m, append=winds.all.top_m[-1]).max()) - LAYER_M
    return max(widest_m, above_m) if widest_m > LAYER_M or above_m > ABOVE_M else 0.0


def _jet(case, winds):
    layers = winds.all
    if len(layers) == 0:
        return missing("Jet stream", "m/s", NO_WIND)
    tropopauses = case.once(find_tropopauses).levels
    near_m = tropopauses[0].height_m if tropopauses and tropopauses[0].share >= 0.5 else None
    found = jet.find_jet(layers.middle_m, layers.speed_m_s, layers.uncertainty_m_s, near_m)
    where = "from 5 to 18 km" if near_m is None else "within 4 km of the tropopause"
    method = f"strongest layer {where} of at least 30 m/s with weaker wind above and below it, in thin layers"
    if found.state == jet.UNKNOWN:
        return missing("Jet stream", "m/s", found.why)
    if found.state == jet.FOUND:
        text = "The flight met a jet stream: {value}, give or take {uncertainty}, from the {point}, at {height}."
        caveats = caveats_of(winds, found.index)
        if layers.speed_m_s[found.index] - layers.uncertainty_m_s[found.index] < jet.JET_SPEED_M_S:
            caveats.append("its speed is so near to 30 m/s that it may not have been one")
        # A mean over a thick layer is weaker than the peak of the current in it.
        thin, index, _ = _thinner(winds, found.index)
        return of_layer(case, thin, index, "Jet stream", text, caveats, method, peak_spread(thin, index, thin))
    return statement(
        "Jet stream", NO_JET, unit="m/s",
        says={"limit": Quantity(jet.JET_SPEED_M_S, "m/s")}, span=span_of(case, layers), caveats=caveats_of(winds),
        evidence=[evidence("value", SOURCE, method, int(layers.samples.sum()))],
    )  # fmt: skip


def _shear(case, winds):
    shear = wind_shear(winds.all)
    if len(shear.middle_m) == 0:
        return missing("Strongest wind shear", "m/s per km", "fewer than three layers of the wind are known")
    best = int(np.argmax(shear.shear_m_s_km))
    at_s = float(np.interp(shear.middle_m[best], winds.all.middle_m, winds.all.time_s))
    text = "The wind changed most with height between {low} and {high}: by {value}, give or take {uncertainty}."
    columns = [["height", "m"], ["shear", "m/s per km"], ["uncertainty", "m/s per km"]]
    parts = (shear.middle_m, shear.shear_m_s_km, shear.uncertainty_m_s_km)
    rows = [[round(float(part), 2) for part in row] for row in zip(*parts, strict=True)]
    method = "vector difference of the layers next above and below"
    own, caveats, unseen_m = shear.uncertainty_m_s_km, caveats_of(winds), _unseen_m(case, winds)
    uncertainty = float(np.hypot(own[best], choice_spread(shear.shear_m_s_km, own, best)))
    if unseen_m:
        text = "Where the wind is known it changed most with height between {low} and {high}: by {value}. "
        text += "It may have changed more at heights where the payload's place is not known."
        caveats.append(f"the winds of {unseen_m / 1000:.1f} km of height are unknown and may have changed more")
        uncertainty = None
    if ends_at_top(case):
        caveats.append(NOT_TO_THE_TOP)
    return statement(
        "Strongest wind shear", text, value=float(shear.shear_m_s_km[best]), unit="m/s per km", decimals=1,
        uncertainty=uncertainty, height_m=float(shear.middle_m[best]),
        says={"low": Quantity(float(shear.from_m[best]), "m"), "high": Quantity(float(shear.to_m[best]), "m")},
        table={"columns": columns, "rows": rows},
        evidence=[evidence("value", SOURCE, method, int(winds.all.samples.sum()))],
        span=span_of(case, winds.all), caveats=caveats, **case.at(at_s),
    )  # fmt: skip


def _surface_wind(case, winds):
    if len(winds.surface) == 0:
        return missing("Wind near the ground", "m/s", "there is no launch with fixes just after it in the data")
    text = (
        "Just above the launch site the wind was {value}, give or take {uncertainty}, from the {point} ({degrees})."
    )
    method = f"drift on the WGS 84 ellipsoid in the lowest {SURFACE_M:.0f} m, Huber's robust fit"
    caveats = []
    if winds.surface.speed_m_s[0] < winds.surface.uncertainty_m_s[0]:
        caveats.append("the wind was so weak that its direction means little")
        text = "Just above the launch site the wind was weak: {value}, give or take {uncertainty}."
    return of_layer(case, winds.surface, 0, "Wind near the ground", text, caveats, method)
