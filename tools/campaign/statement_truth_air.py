"""Truths of the air: functions of a World and a statement that give Parts."""

import numpy as np

from onboard.simulator.world.sensors import _HUMIDITY_CHIP_LAG_S
from tools.campaign.statement_parts import WRONG, Part, rows, value, within
from tools.campaign.statement_world import KELVIN

INVERSION_K = 1.0  # a smaller rise is none, as the statement says
_RATED_DEGC = {"sht3x": -40.0, "tmp117": -55.0, "ds18b20": -55.0}  # data sheets, the cold end

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
    if _is_chip(statement):
        return value(statement, _HUMIDITY_CHIP_LAG_S)
    return value(statement, world.scenario.mission.get("outside_temperature", {}).get("time_constant_s", 6.0))


def no_error(world, statement):
    """Of what the simulator does without: an error of the barometer that is the same everywhere."""
    return value(statement, 0.0, size=1.0)


def _is_chip(statement):
    """True if the humidity chip's thermometer stood in for the outside one."""
    return any("humidity_chip" in part["source"] for part in statement["evidence"])


def inversions(world, statement):
    """The strongest rise below the tropopause between turning points that a dip of less than 1 K does not part."""
    levels, kelvin, height_m = world.figures["air"]["tropopauses"], world.air["temperature_k"], world.air["height_m"]
    top_m = levels[0]["height_m"] - 500.0 if levels else np.inf
    best, low, high = 0.0, 0, 0
    for i in range(len(kelvin)):
        if kelvin[i] <= kelvin[high] - INVERSION_K or kelvin[i] < kelvin[low]:
            low = high = i
        elif kelvin[i] > kelvin[high]:
            high = i
            if height_m[low] < top_m:
                best = max(best, float(kelvin[high] - kelvin[low]))
    return value(statement, best if best >= INVERSION_K else 0.0, size=10.0)


def warming(world, statement):
    levels = world.figures["air"]["tropopauses"]
    above = world.air["height_m"] >= (levels[0]["height_m"] - 200.0 if levels else np.inf)
    kelvin = world.air["temperature_k"][above]
    if not levels or len(kelvin) < 4:
        return []
    low = int(np.argmin(kelvin))
    return value(statement, float(kelvin[low:].max() - kelvin[low]), size=10.0)


def trust(world, statement):
    """Share of the readings that no fault touched and whose air the maker rates it for; wanted to 1 %."""
    kind = "sht3x" if _is_chip(statement) else world.mission.outside_temperature.chip
    flying, seconds = world.flying, world.path["seconds_since_power_on"]
    sound = world.path["temperature_k"] - KELVIN >= _RATED_DEGC.get(kind, -200.0)
    for row in world.faults("frozen", "outside_temperature") if kind != "sht3x" else ():
        sound &= (seconds < row["start_ms"] / 1000.0) | (seconds > row["stop_ms"] / 1000.0)
    return within(statement, 100.0 * float(sound[flying].mean()), 1.0)


def heights_agree(world, statement):
    """In the simulator they agree: what is left are errors of thermometer and barometer, wanted below 0.1 % of
    the way up.
    """
    return within(statement, 0.0, 0.001 * world.figures["greatest_height_m"])
