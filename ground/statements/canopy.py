"""Statements about the parachute: how large a canopy the fall shows, and whether it opened."""

import numpy as np

from ground.analyse.drag import terminal_speed_m_s
from ground.statements.fall_found import MEASURED, PRESSURE_ONLY, STANDARD, caveats_of
from ground.statements.landing_speed import STILL_ABOVE_M
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, missing, statement

SEA_LEVEL_KG_M3 = 1.225  # ISO 2533
MASS_SHARE = 0.01  # of the mission's mass (own estimate)
TANGLED_BELOW, BIGGER_ABOVE = 0.67, 1.5  # of the mission's drag area
TITLES = {
    "ballistic_coefficient": ("Mass over drag area", "kg/m2"), "drag_area": ("Drag area of the canopy", "m2"),
    "canopy": ("Parachute", "percent"),
}  # fmt: skip


def statements(case, found):
    """Give ballistic_coefficient, drag_area, canopy of a Fall."""
    reason = found.ballistic.reason
    if reason:
        return {key: missing(*names, reason) for key, names in TITLES.items()}
    return {
        "ballistic_coefficient": _ballistic(case, found),
        "drag_area": _drag_area(case, found),
        "canopy": _canopy(case, found),
    }


def _ballistic(case, found):
    fall = found.ballistic
    return statement(
        TITLES["ballistic_coefficient"][0],
        "The load on its canopy was {value} of drag area, give or take {uncertainty}. More load would fall faster.",
        value=fall.value, unit="kg/m2", decimals=2, uncertainty=_scaled(found, fall.uncertainty),
        evidence=_fall_evidence(found), span=case.span(found.start_s, found.end_s), caveats=_fall_caveats(found),
    )  # fmt: skip


def _drag_area(case, found):
    names = TITLES["drag_area"]
    if case.mission is None:
        return missing(*names, "the mass below the balloon is not known; give the mission file")
    area, uncertainty = _area(case, found)
    return statement(
        names[0], "It fell as it would under a canopy with a drag area of {value}, give or take {uncertainty}.",
        value=area, unit="m2", decimals=2, uncertainty=uncertainty, evidence=[
            *_fall_evidence(found), evidence("mass", "mission payload.mass_kg", "as weighed by the team"),
        ], span=case.span(found.start_s, found.end_s), caveats=_fall_caveats(found),
    )  # fmt: skip


def _canopy(case, found):
    fall, caveats, ratio = found.ballistic, caveats_of(found), None
    if case.mission is not None:
        ratio = _area(case, found)[0] / case.mission.parachute.drag_area_m2
    lowest_m = float(found.curve.height_m.min())
    down = "all the way down"
    if found.ground_m is None or lowest_m > found.ground_m + STILL_ABOVE_M:
        down = "as far down as the data go"
        caveats.append(f"the data end at {lowest_m:.0f} m")
    if ratio is not None and ratio > BIGGER_ABOVE:
        caveats.append("it fell more slowly than planned: the mission's mass or drag area may be wrong")
    sea_level_m_s = float(terminal_speed_m_s(fall.value, SEA_LEVEL_KG_M3))
    says = {"speed": Quantity(sea_level_m_s, "m/s", 1), "height": Quantity(fall.changed_at_m, "m")}
    unjudged = ratio is None and fall.changed_at_m is None
    text = _canopy_text(fall, ratio, down)
    text += "" if fall.variation_percent is None else " From minute to minute its drag area varied by {value}."
    text += " In the dense air at sea level it falls at {speed}."
    return statement(
        TITLES["canopy"][0], text,
        value=fall.variation_percent, unit="percent", says=says, confidence="cannot tell" if unjudged else None,
        evidence=[evidence(
            "value", found.speed_source, "standard deviation of the drag area from minute to minute", fall.samples
        )], span=case.span(found.start_s, found.end_s), caveats=caveats,
    )  # fmt: skip


def _canopy_text(fall, ratio, down):
    """ratio: its drag area over the planned one, or None; down: how far down it is seen."""
    if fall.changed_at_m is not None:
        times = fall.upper_value / fall.value
        how = f"grew to {times:.1f} times" if times > 1 else f"shrank to {100 * times:.0f} % of"
        text = f"The parachute changed on the way: its drag area {how} what it was, at {{height}}."
        return text if ratio is None else f"{text} Below, it was {100 * ratio:.0f} % of what was planned."
    if ratio is None:
        return (
            "Without the mission file nobody can tell whether the parachute was fully open, "
            f"but it stayed the same {down}."
        )
    percent = f"{100 * ratio:.0f} % of what was planned" if ratio >= 0.01 else "less than 1 % of what was planned"
    if ratio > BIGGER_ABOVE:
        return f"The parachute was open: its drag area was {ratio:.1f} times what was planned, {down}."
    if ratio < TANGLED_BELOW:
        return f"The parachute was tangled or closed: it fell as if its drag area were {percent}."
    return f"The parachute was good: its drag area was {percent}, {down}."


def _area(case, found):
    """(drag area, its expanded uncertainty), m2."""
    area = case.mission.payload.mass_kg / found.ballistic.value
    share = _scaled(found, found.ballistic.uncertainty) / found.ballistic.value
    return area, float(area * np.hypot(share, 2.0 * MASS_SHARE))


def _scaled(found, uncertainty):
    """The uncertainty with that of the scale of heights from pressure, which counts twice, as speed is squared."""
    return float(np.hypot(uncertainty, 4.0 * float(np.median(found.rate_share[1])) * found.ballistic.value))


def _fall_evidence(found):
    known = {MEASURED: "pressure and air temperature", PRESSURE_ONLY: "pressure or air temperature alone"}
    density = known.get(found.density_share, "the standard atmosphere")
    method = f"drag equation with acceleration; median of minutes; air density from {density}"
    return [evidence("value", found.speed_source, method, found.ballistic.samples)]


def _fall_caveats(found):
    lines = caveats_of(found)
    if found.density_share == STANDARD:
        lines.append("the air density is that of the standard atmosphere")
    if found.ballistic.changed_at_m is not None:
        lines.append("the canopy changed on the way; this is for the part below")
    return lines
