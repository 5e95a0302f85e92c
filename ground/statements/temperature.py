"""Statements about the air's temperature: how cold, how it changed with height, and how far to trust it."""

from ground.statements.air_profile import find_profile, find_tropopauses
from ground.statements.coldest import coldest_air, ground_temperature
from ground.statements.freezing import freezing_level
from ground.statements.humidity import most_humid_layer
from ground.statements.lapse_words import inversions, lapse_rates
from ground.statements.thermometer import find_thermometer
from ground.statements.thermometer_words import thermometer_lag, thermometer_trust
from ground.statements.tropopause_words import further_tropopauses, tropopause, warming_above

__all__ = ["find_profile", "find_thermometer", "find_tropopauses", "statements"]


def statements(case):
    """Give coldest_air, ground_temperature, lapse_rates, inversions, freezing_level, tropopause,
    further_tropopauses, warming_above, thermometer_lag, thermometer_trust and, with a humidity chip,
    most_humid_layer.
    """
    made = {
        "coldest_air": coldest_air(case),
        "ground_temperature": ground_temperature(case),
        "lapse_rates": lapse_rates(case),
        "inversions": inversions(case),
        "freezing_level": freezing_level(case),
        "tropopause": tropopause(case),
        "further_tropopauses": further_tropopauses(case),
        "warming_above": warming_above(case),
        "thermometer_lag": thermometer_lag(case),
        "thermometer_trust": thermometer_trust(case),
    }
    humid = most_humid_layer(case)
    return made if humid is None else {**made, "most_humid_layer": humid}
