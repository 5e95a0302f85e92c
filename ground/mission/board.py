"""From the mission to the board's configuration, what firmware/settings.py reads."""

from dataclasses import asdict

from ground.mission.thresholds import battery_counts, switch_settings


def board_settings(mission, flight):
    """Make the board's configuration.

    mission: a Mission; flight: 4 bytes, the flight's identity.
    Returns a dict of what JSON knows. Everything that the board compares is in whole numbers of the units in
    which the board has it: metres, seconds, raw counts.
    """
    settings = {
        "payload": mission.payload.name,
        "flight": flight.hex(),
        "baud": mission.gnss.baud,
        "parity": [mission.parity.depth, mission.parity.rate],
        "rates": _rates(mission),
        "sensors": _sensors(mission),
        "addresses": _addresses(mission),
        "pins": {key: number for key, number in asdict(mission.pins).items() if key != "board"},
    }
    if mission.gnss.chip == "ubx":
        settings["gnss"] = {"model": mission.gnss.dynamic_model}
    if mission.switches:
        settings["switches"] = [switch_settings(switch, mission) for switch in mission.switches]
    if mission.downlink:
        settings["downlink"] = _downlink(mission.downlink, mission.battery)
    return settings


def _rates(mission):
    rates = {key.removesuffix("_ms"): period for key, period in asdict(mission.rates).items()}
    if not mission.probes:
        del rates["probe"]
    return rates


def _sensors(mission):
    """Role -> chip and words, as the manifest lists them; a barometer's words come from the chip itself."""
    motion, battery = mission.motion, mission.battery
    sensors = {
        "barometer": [mission.barometer.chip],
        "outside_temperature": _outside(mission.outside_temperature),
        "humidity": [mission.humidity.chip],
        "motion": [motion.chip, motion.acceleration_range_g, motion.rate_range_deg_s],
        "board_temperature": [motion.chip],
        "battery": ["adc_divider", battery.reference_mv, round(battery.divider_ratio * 1000)],
        "rail": ["adc_divider", battery.reference_mv, 2000],
        "gnss": [mission.gnss.chip],
    }
    sensors = {role: words for role, words in sensors.items() if words[0] != "none"}
    for number, probe in enumerate(mission.probes, 1):
        sensors[f"probe_{number}"] = [probe.chip, probe.rom.lower()]
    for number, switch in enumerate(mission.switches, 1):
        sensors[f"switch_{number}"] = [switch.name, switch.pin]  # so that the ground can name it
    return sensors


def _outside(thermometer):
    chip = thermometer.chip
    if chip == "ds18b20":
        return [chip, thermometer.rom.lower()]
    if chip == "pt1000_divider":
        return [chip, round(thermometer.reference_ohm)]
    if chip == "ntc_divider":
        # As text: a number would lose digits on a board.
        return [chip, round(thermometer.reference_ohm), *(repr(float(c)) for c in thermometer.steinhart_hart)]
    return [chip]


def _addresses(mission):
    addresses = {
        role: getattr(mission, role).address
        for role in ("barometer", "humidity", "motion")
        if getattr(mission, role).chip != "none"
    }
    if mission.outside_temperature.chip == "tmp117":
        addresses["outside_temperature"] = mission.outside_temperature.address
    return addresses


def _downlink(downlink, battery):
    return {
        "baud": downlink.baud,
        "period_s": downlink.period_s,
        "landed_s": downlink.landed_period_s,
        "low_battery_counts": battery_counts(downlink.low_battery_mv, battery),
        "low_battery_s": downlink.low_battery_period_s,
        "duty_permille": round(downlink.duty_percent * 10),
    }
