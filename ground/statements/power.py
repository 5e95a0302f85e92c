"""Statements about power and cold: the battery, what its load did, who fell silent, how cold it was inside."""

from ground.statements import power_cold, power_load, power_silence, power_supply
from ground.statements.power_facts import PowerFacts, find_power

__all__ = ["PowerFacts", "find_power", "statements"]


def statements(case):
    """Give battery, battery_lowest, battery_at_landing, battery_cold, load_steps, brown_outs, what_died,
    inside_temperature.
    """
    found = case.once(find_power)
    return {
        "battery": power_supply.battery(case, found), "battery_lowest": power_supply.lowest(case, found),
        "battery_at_landing": power_supply.at_landing(case, found),
        "battery_cold": power_cold.battery_cold(case, found), "load_steps": power_load.load_steps(case, found),
        "brown_outs": power_load.brown_outs(case, found), "what_died": power_silence.what_died(case, found),
        "inside_temperature": power_cold.inside_temperature(case, found),
    }  # fmt: skip
