"""Truths of the air: functions of a World and a statement that give Parts."""

import numpy as np

from tools.campaign.statement_parts import WRONG, Part, rows, value
from tools.campaign.statement_world import KELVIN


def lapse_rates(world, statement):
    found = []
    for from_m, to_m, rate, spread in rows(statement, ("from", "to", "colder upwards by", "give or take")):
        heights_m = np.arange(max(from_m, world.figures["release"]["height_m"]), to_m, 5.0)
        if len(heights_m) > 20:
            # The straight line of least squares: what "on average" means where an inversion bends the profile.
            truth = -1000.0 * float(np.polyfit(heights_m, world.aloft("temperature_k", heights_m), 1)[0])
            found.append(Part(f"row {from_m:.0f} m", abs(rate - truth), spread, 6.5, truth))
    return found


def coldest(world, statement):
    return value(statement, world.figures["coldest_air_k"] - KELVIN, size=10.0)


def freezing(world, statement):
    levels_m = world.figures["air"]["freezing_levels_m"]
    if statement["value"] is not None and not levels_m:
        return [Part("value", WRONG, 1.0, 1.0, "none")]
    return value(statement, max(levels_m) if levels_m else None)


def tropopause(world, statement):
    levels = world.figures["air"]["tropopauses"]
    return value(statement, levels[0]["height_m"]) if levels else []


def further(world, statement):
    levels = world.figures["air"]["tropopauses"][1:]
    if world.figures["air"]["tropopauses_are"].startswith("reported"):
        return []  # services differ in whether they report further ones
    return value(statement, len(levels))


def humid(world, statement):
    if statement["value"] is None:
        return []
    layer = np.floor(world.air["height_m"] / 200.0)
    warm = world.air["temperature_k"] > KELVIN - 40.0
    percent = world.air["relative_humidity_percent"]
    means = [percent[warm & (layer == each)].mean() for each in np.unique(layer[warm])]
    return value(statement, float(max(means)))


def wind_layers(world, statement):
    """Along the true wind and across it, each against the uncertainty."""
    truth = {row[0]: np.array(row[4:6]) for row in world.figures["air"]["wind_layers"]}
    found = []
    for part in ("climb", "fall"):
        names = ("bottom", f"{part} east", f"{part} north", f"{part} uncertainty")
        for bottom_m, east, north, uncertainty in rows(statement, names):
            true = truth.get(bottom_m)
            if true is None:
                continue
            size = max(float(np.hypot(*true)), 1e-6)
            along, across = true / size, np.array([-true[1], true[0]]) / size
            for name, axis in (("along", along), ("across", across)):
                error = abs(float(axis @ (np.array([east, north]) - true)))
                what = f"{part} {bottom_m:.0f} m {name}"
                found.append(Part(what, error, uncertainty, max(size, 5.0), round(size, 2)))
    return found


def wind_m_s(world):
    """Speeds of the wind at the heights of world.air, each the mean over 100 m."""
    parts = (world.air["wind_east_m_s"], world.air["wind_north_m_s"])
    kernel = np.full(5, 0.2)
    east, north = (np.convolve(np.pad(part, 2, mode="edge"), kernel, "valid") for part in parts)
    return np.hypot(east, north)


def strongest(world, statement):
    return value(statement, float(wind_m_s(world).max()))


def jet(world, statement):
    if statement["value"] is None:
        return []
    near = np.abs(world.air["height_m"] - statement["height_m"]) < 1000.0
    return value(statement, float(wind_m_s(world)[near].max()) if near.any() else None)


def shear(world, statement):
    layers = np.array(world.figures["air"]["wind_layers"])
    if statement["value"] is None or len(layers) < 3:
        return []
    change = np.hypot(layers[2:, 4] - layers[:-2, 4], layers[2:, 5] - layers[:-2, 5])
    return value(statement, float(change.max() / (layers[2, 0] - layers[0, 0]) * 1000.0))


def surface_wind(world, statement):
    low_m = world.figures["release"]["height_m"]
    heights_m = np.linspace(low_m + 5.0, low_m + 150.0, 30)
    east, north = world.aloft("wind_east_m_s", heights_m).mean(), world.aloft("wind_north_m_s", heights_m).mean()
    return value(statement, float(np.hypot(east, north)), size=5.0)


def at_top(world, statement):
    factor = 0.01 if statement["unit"] == "hPa" else 1.0
    return value(statement, world.figures["air"]["pressure_at_top_pa"] * factor)


def on_ground(world, statement):
    factor = 0.01 if statement["unit"] == "hPa" else 1.0
    return value(statement, world.figures["air"]["ground_pressure_pa"] * factor)


def lag(world, statement):
    return value(statement, world.scenario.mission.get("outside_temperature", {}).get("time_constant_s", 6.0))


def no_error(world, statement):
    """Of what the simulator does without: an error of the barometer that is the same everywhere."""
    return value(statement, 0.0, size=1.0)
