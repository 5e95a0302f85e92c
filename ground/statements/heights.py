"""Statements about heights: three ways to the same height, and what they say about barometer and thermometer."""

import numpy as np

from ground.analyse.height_ways import height_bands
from ground.statements.height_facts import chip_of, find_heights, rating_caveats
from ground.statements.height_pressures import ground_pressure, pressure_at_top, widened_hpa
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, missing, statement
from ground.statements.temperature import find_profile

UNFIT_M, UNFIT = 100.0, "temperatures, pressures and the heights of the fixes do not fit together"
SOURCES = "fix.height_m; pressure.pressure_hPa; air.temperature_degC"


def statements(case):
    """Give height_agreement, barometer_offset, pressure_at_top, ground_pressure."""
    return {
        "height_agreement": _agreement(case),
        "barometer_offset": _offset(case),
        "pressure_at_top": pressure_at_top(case),
        "ground_pressure": ground_pressure(case),
    }


def _why_not(case):
    """Why there are no three heights."""
    lacks = [
        word for word, empty in (
            ("fixes with a height", len(case.heights.gnss) == 0),
            ("air pressures", len(case.heights.pressure) == 0),
            ("air temperatures", not len(case.once(find_profile)) or not case.once(find_profile).known().any()),
        ) if empty
    ]  # fmt: skip
    return f"there are no {' and no '.join(lacks)}" if lacks else case.once(find_heights).bias.reason


def _agreement(case):
    found = case.once(find_heights)
    ways, title = found.ways.with_fix(), "Height three ways"
    if len(ways) < 3:
        return missing(title, "m", _why_not(case) or "fixes, pressures and temperatures do not meet")
    bottom_m, less_standard, less_own, own_standard, levels = height_bands(ways)
    columns = [["from height", "m"], ["satellites less standard atmosphere", "m"], ["satellites less own air", "m"],
               ["own air less standard atmosphere", "m"], ["levels", "1"]]  # fmt: skip
    rows = [
        [round(float(part), 1) if np.isfinite(part) else None for part in row]
        for row in zip(bottom_m, less_standard, less_own, own_standard, levels, strict=True)
    ]
    caveats = rating_caveats(case, float(ways.pressure_hpa.min()))
    if found.bias.scatter_m > UNFIT_M:
        caveats += [UNFIT, "so the differences say more about the thermometer than about heights"]
    off_m = ways.gnss_m - ways.standard_m
    farthest = int(np.nanargmax(np.abs(off_m))) if np.isfinite(off_m).any() else 0
    text = (
        "Heights from satellites and those from the pressure and warmth of the air differed by {value} on average. "
        "From pressure alone, as in a plain altimeter, heights would have been {off} too {way} at {height}."
    )
    return statement(
        title, text, value=float(np.mean(np.abs(ways.gnss_m - ways.hypsometric_m))), unit="m",
        says={"off": Quantity(abs(float(off_m[farthest])), "m"), "way": "low" if off_m[farthest] > 0 else "high",
              "height": Quantity(float(ways.gnss_m[farthest]), "m")},
        table={"columns": columns, "rows": rows}, caveats=caveats,
        evidence=[evidence("value", SOURCES, "hypsometric equation from the lowest fixes up; ISO 2533", len(ways))],
        span=case.span(found.start_s, found.end_s),
    )  # fmt: skip


def _offset(case):
    found = case.once(find_heights)
    bias, title = found.bias, "Barometer's error"
    if bias.reason:
        return missing(title, "hPa", _why_not(case))
    limit_hpa = chip_of(case)[2]
    if bias.scatter_m > UNFIT_M:
        return missing(title, "hPa", UNFIT)
    if bias.offset_uncertainty_hpa > 2.0 * limit_hpa:
        reason = f"the heights reach up to {bias.top_m:.0f} m only, where an error of some hPa does not show"
        return missing(title, "hPa", reason)
    text = "The barometer shows no clear error: {value}, give or take {uncertainty}. "
    if abs(bias.offset_hpa) > bias.offset_uncertainty_hpa:
        text = "The barometer read {size} too {way}, give or take {uncertainty}, if its error was always the same. "
    if abs(bias.temperature_k) > bias.temperature_uncertainty_k:
        text += "On average the thermometer read {warm} too {feel}, give or take {spread}."
    else:
        text += "On average the thermometer shows no clear error: {error}, give or take {spread}."
    caveats = rating_caveats(case, float(found.ways.pressure_hpa.min()))
    method = "offset and temperature error that make hypsometric heights meet the fixes, Bayesian least squares"
    if abs(bias.temperature_k) > max(2.0, bias.temperature_uncertainty_k):
        caveats.append("the thermometer is off by more than 2 K, or the fixes' heights are")
    if bias.scatter_m > 30.0:
        caveats.append(
            f"heights still differ by {bias.scatter_m:.0f} m, so that the error was not the same everywhere"
        )
    return statement(
        title, text, value=bias.offset_hpa, unit="hPa", decimals=2, uncertainty=widened_hpa(bias), caveats=caveats,
        says={"size": Quantity(abs(bias.offset_hpa), "hPa", 2), "way": "high" if bias.offset_hpa > 0 else "low",
              "warm": Quantity(abs(bias.temperature_k), "K", 1), "error": Quantity(bias.temperature_k, "K", 1),
              "feel": "warm" if bias.temperature_k > 0 else "cold",
              "spread": Quantity(bias.temperature_uncertainty_k, "K", 1)},
        evidence=[evidence("value", SOURCES, method, bias.levels)],
        span=case.span(found.start_s, found.end_s), height_m=bias.top_m,
    )  # fmt: skip
