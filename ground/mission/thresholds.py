"""Switches for the board: conditions in physical units become thresholds in raw counts.

A condition is [source, on_at, off_at, lowest, highest] in whole numbers. It begins to hold when the
reading reaches on_at and ends when it reaches off_at, which lies a margin beyond; which of them is the
greater says in which direction it looks. A reading below lowest or above highest is none: a broken wire
must not look like a very cold day.
"""

from math import exp, sqrt

from protocol.table import PHASES

HEIGHT_MARGIN_M = 20
BATTERY_MARGIN_MV = 100
TEMPERATURE_MARGIN_K = 1.0
PLAUSIBLE_M = (-1000, 100000)
PLAUSIBLE_DEGC = (-100.0, 130.0)
DS18B20_DEGC = (-55.0, 125.0)  # what its data sheet says that it measures

_FULL_SCALE = 65535  # of a 16-bit reading
_LARGEST = 65534  # 65535 is the missing value
_KELVIN = 273.15


def battery_counts(millivolts, battery):
    """The converter's counts at a battery voltage, 0 .. 65534. battery: the mission's section."""
    return _limited(millivolts / battery_range_mv(battery) * _FULL_SCALE)


def battery_range_mv(battery):
    """The greatest battery voltage in mV that the converter can tell, float."""
    return battery.reference_mv * battery.divider_ratio


def thermometer_counts(celsius, of, mission):
    """The raw counts of a thermometer at a temperature in degC, as records have them (whole number).

    of: "outside" or "board". Sources: IEC 60751:2008 (PT1000), the Steinhart-Hart equation solved for the
    resistance, and the data sheets of TMP117 (1/128 K a count), DS18B20 (1/16 K) and MPU-6050 (registers 65
    and 66).
    """
    if of == "board":
        return max(-32767, min(round((celsius - 36.53) * 340), 32767))
    thermometer = mission.outside_temperature
    if thermometer.chip == "tmp117":
        return _limited(celsius * 128 + 32768)  # offset binary: the sign bit is turned over
    if thermometer.chip == "ds18b20":
        return _limited(celsius * 16 + 32768)
    if thermometer.chip == "ntc_divider":
        resistance_ohm = ntc_resistance_ohm(celsius, thermometer.steinhart_hart)
    else:
        resistance_ohm = pt1000_resistance_ohm(celsius)
    return _limited(resistance_ohm / (resistance_ohm + thermometer.reference_ohm) * _FULL_SCALE)


def pt1000_resistance_ohm(celsius):
    """IEC 60751:2008, Callendar-Van Dusen equation."""
    cold = min(celsius, 0.0)
    return 1000.0 * (1 + 3.9083e-3 * celsius - 5.775e-7 * celsius**2 - 4.183e-12 * (cold - 100) * cold**3)


def ntc_resistance_ohm(celsius, steinhart_hart):
    """The resistance at which 1/T = A + B ln R + C (ln R)**3; steinhart_hart: A, B, C, all above zero.

    Cardano's formula. Source: S. Steinhart and S. Hart, "Calibration curves for thermistors", Deep-Sea
    Research 15 (1968) (from memory).
    """
    a, b, c = steinhart_hart
    half = (a - 1 / (celsius + _KELVIN)) / (2 * c)
    root = sqrt((b / (3 * c)) ** 3 + half**2)
    # The smaller root as a quotient: as a difference it would lose digits.
    larger = root + abs(half)
    sign = 1.0 if half < 0 else -1.0
    cube = larger ** (1 / 3)
    return exp(sign * (cube - b / (3 * c) / cube))


def _limited(counts):
    return max(0, min(round(counts), _LARGEST))


def switch_settings(switch, mission):
    """One entry of the board's "switches". switch: a Switch of the mission."""
    settings = {
        "pin": switch.pin,
        "inverted": int(switch.inverted),
        "without_data": int(switch.without_data == "on"),
        "phases": [PHASES.index(phase) for phase in switch.phases] or list(range(len(PHASES))),
        "after_s": switch.after_s or 0,
        "conditions": list(_conditions(switch, mission)),
        "blink": [switch.blink_on_ms, switch.blink_period_ms],
    }
    if switch.until_landed_s is not None:
        settings["until_landed_s"] = switch.until_landed_s
    return settings


def _conditions(switch, mission):
    if switch.above_m is not None:
        yield ["height", round(switch.above_m), round(switch.above_m) - HEIGHT_MARGIN_M, *PLAUSIBLE_M]
    if switch.below_m is not None:
        yield ["height", round(switch.below_m), round(switch.below_m) + HEIGHT_MARGIN_M, *PLAUSIBLE_M]
    for millivolts, sign in ((switch.battery_above_mv, -1), (switch.battery_below_mv, 1)):
        if millivolts is not None:
            on_at = battery_counts(millivolts, mission.battery)
            off_at = battery_counts(millivolts + sign * BATTERY_MARGIN_MV, mission.battery)
            yield ["battery", on_at, off_at, 1, _LARGEST]  # 0: the divider is not connected
    for celsius, sign in ((switch.temperature_above_c, -1), (switch.temperature_below_c, 1)):
        if celsius is not None:
            of = switch.temperature_of
            is_ds18b20 = of == "outside" and mission.outside_temperature.chip == "ds18b20"
            plausible = DS18B20_DEGC if is_ds18b20 else PLAUSIBLE_DEGC
            numbers = [
                thermometer_counts(c, of, mission)
                for c in (celsius, celsius + sign * TEMPERATURE_MARGIN_K, *plausible)
            ]
            yield [of, *numbers[:2], *sorted(numbers[2:])]
