"""Truths of the moments, the climb and the fall: functions of a World and a statement that give Parts."""

import re

from tools.campaign.statement_parts import WRONG, Part, apart_m, climb_s, rows, value


def moment(name):
    def parts(world, statement):
        truth = world.figures[name]
        if name == "burst" and truth is None:
            if world.figures["flight"]["climb_ended_by"] == "leak":
                return [] if statement["utc"] is None else [Part("time", WRONG, 1.0, 1.0, "never")]
            truth = world.figures["climb_end"]  # a line that is cut looks like a burst to every sensor
        found = []
        if statement["utc"]:
            error_s = abs(world.seconds(statement["utc"]) - truth["time_s"])
            found.append(Part("time", error_s, statement["uncertainty_s"], 3600.0, truth["time_s"]))
        found += value(statement, truth["height_m"], "height", 1000.0)
        if statement["latitude_deg"] is not None:
            found.append(Part("place", apart_m(truth, statement), None, 1000.0))
        return found

    return parts


def climb_end_height(world, statement):
    """Where it stopped climbing: of a float, its beginning."""
    floated = world.figures["flight"]["float"]
    truth_m = world.at("height_m", floated["from_s"]) if floated else world.figures["climb_end"]["height_m"]
    return value(statement, truth_m)


def last_fix(world, statement):
    if statement["utc"] is None:
        return []
    time_s = world.seconds(statement["utc"])
    truth = {key: world.at(key, time_s) for key in ("latitude_deg", "longitude_deg")}
    found = value(statement, world.at("height_m", time_s), "height")
    if statement["latitude_deg"] is not None:
        found.append(Part("place", apart_m(truth, statement), None, 1000.0))
    return found


def landing_place(world, statement):
    radius = re.search(r"give or take ([\d  ]+) m", statement["text"])
    if statement["latitude_deg"] is None or not radius:
        return []
    error_m = apart_m(world.figures["landing"], statement)
    return [Part("place", error_m, float(re.sub(r"\D", "", radius[1])), 1000.0)]


def after_landing(world, statement):
    """How far it was moved; of what was driven off, until the last fix."""
    utc = world.statements["last_fix"]["utc"]
    end_s = world.seconds(utc) if utc else world.path["seconds_since_power_on"][-1]
    end = {key: world.at(key, end_s) for key in ("latitude_deg", "longitude_deg")}
    moved_m = apart_m(world.figures["landing"], end) if world.figures["flight"]["carried_off_s"] else 0.0
    return value(statement, moved_m, size=1000.0)


def bearing(world, statement):
    truth = world.figures["flight"]["bearing_deg"]
    if statement["value"] is None:
        return []
    error = abs((statement["value"] - truth + 180.0) % 360.0 - 180.0)
    return [Part("value", error, statement["uncertainty"], 360.0, truth)]


def climb_rate(world, statement):
    from_s, to_s = climb_s(world)
    rise_m = world.at("height_m", to_s) - world.figures["release"]["height_m"]
    return value(statement, rise_m / (to_s - from_s))


def speeds(column, part_s, sign):
    def parts(world, statement):
        found = []
        for bottom_m, top_m, rate, uncertainty in rows(statement, ("bottom", "top", column, "uncertainty")):
            truth = world.crossing_m_s(bottom_m, top_m, *part_s(world))
            if truth is not None:
                found.append(Part(f"row {bottom_m:.0f} m", abs(rate - sign * truth), uncertainty, truth, truth))
        return found

    return parts


def extreme_climb(choose):
    """In the bands that the steadiness of the climb is told by."""

    def parts(world, statement):
        bands = rows(world.statements["climb_steadiness"], ("bottom", "top", "climb rate"))
        rates = [world.crossing_m_s(low, high, *climb_s(world)) for low, high, _ in bands]
        return value(statement, choose((rate for rate in rates if rate), default=None))

    return parts


def float_time(world, statement):
    floated = world.figures["flight"]["float"]
    if floated is None:
        return [] if not statement["value"] else [Part("value", WRONG, 1.0, 1.0, "no float")]
    return value(statement, floated["to_s"] - floated["from_s"])


def under_a_canopy(key):
    def parts(world, statement):
        flight = world.figures["flight"]
        if flight["climb_ended_by"] == "leak":
            return [] if statement["value"] is None else [Part("value", WRONG, 1.0, 1.0, "no parachute")]
        return value(statement, flight[key])

    return parts
