"""What must be true of a mission beyond the single key's type and limits."""

import re
from datetime import datetime

from crcmod.predefined import mkPredefinedCrcFun

from ground.mission.pins import check_pins
from ground.mission.thresholds import TEMPERATURE_MARGIN_K, battery_range_mv, thermometer_counts
from ground.mission.wrong import Wrong
from protocol.table import PHASES

PROBES_MAX = 8
SWITCHES_MAX = 8
_NAME_MAX = 60  # characters of the payload's name: it stands in every manifest
_WORD = re.compile(r"[\w.+-]{1,20}")
_ROM = re.compile(r"[0-9a-fA-F]{16}")
_DS18B20_FAMILY = 0x28
_OPPOSITES = (  # the lower limit must be below the upper one
    ("above_m", "below_m"),
    ("battery_above_mv", "battery_below_mv"),
    ("temperature_above_c", "temperature_below_c"),
)
_CONDITIONS = ("after_s", "until_landed_s", *(key for pair in _OPPOSITES for key in pair))
_rom_crc = mkPredefinedCrcFun("crc-8-maxim")


def check_mission(mission):
    """Raise Wrong for the first thing in a Mission that cannot be."""
    if not 1 <= len(mission.payload.name.strip()) <= _NAME_MAX:
        raise Wrong(("payload", "name"), f"must be a name of 1 to {_NAME_MAX} characters")
    _check_utc(mission.launch.utc)
    _check_thermometer(mission.outside_temperature)
    words = mission.barometer.calibration
    if not all(type(word) is int for word in words):
        raise Wrong(("barometer", "calibration"), "must be a list of whole numbers")
    _check_probes(mission)
    _check_switches(mission)
    if mission.downlink:
        _check_battery(mission.downlink.low_battery_mv, mission.battery, ("downlink", "low_battery_mv"))
    check_pins(mission)


def _check_utc(text):
    try:
        if not text.endswith("Z"):
            raise ValueError
        datetime.fromisoformat(text)
    except ValueError:
        words = "must be a date and time in UTC as in 2026-11-21T09:30:00Z"
        raise Wrong(("launch", "utc"), words) from None


def _check_thermometer(thermometer):
    if thermometer.chip == "ntc_divider":
        path = ("outside_temperature", "steinhart_hart")
        numbers = thermometer.steinhart_hart
        if len(numbers) != 3 or not all(type(number) is float and 0 < number < 1 for number in numbers):
            raise Wrong(path, "must be [A, B, C], three numbers above 0 and below 1 as 1.1e-3")
    if thermometer.chip == "ds18b20":
        check_rom(thermometer.rom, ("outside_temperature", "rom"))


def check_rom(text, path):
    """Raise Wrong unless text is the code of a DS18B20; its last byte is a check sum over the others
    (Maxim application note 27).
    """
    if not _ROM.fullmatch(text):
        words = "must be the thermometer's 16 hexadecimal digits, family code first, as 28ff641e001603cf"
        raise Wrong(path, words)
    code = bytes.fromhex(text)
    if code[0] != _DS18B20_FAMILY:
        raise Wrong(path, f"begins with {text[:2]}, which is no DS18B20; 28 would be (family code first)")
    if _rom_crc(code[:7]) != code[7]:
        raise Wrong(path, "is not right: its check sum does not fit; copy the 16 digits once more")


def _check_probes(mission):
    if len(mission.probes) > PROBES_MAX:
        raise Wrong(("probes", PROBES_MAX), f"is one too many; {PROBES_MAX} probes are the most")
    outside = mission.outside_temperature
    taken = {outside.rom.lower(): "outside_temperature"} if outside.chip == "ds18b20" else {}
    _check_names("probes", mission.probes)
    for number, probe in enumerate(mission.probes):
        check_rom(probe.rom, ("probes", number, "rom"))
        other = taken.setdefault(probe.rom.lower(), probe.name)
        if other is not probe.name:
            raise Wrong(("probes", number, "rom"), f"is that of {other} too; every thermometer has its own")


def _check_names(section, items):
    taken = set()
    for number, item in enumerate(items):
        path = (section, number, "name")
        if not _WORD.fullmatch(item.name):
            raise Wrong(path, "must be one word of 1 to 20 letters, digits or _ . + -")
        if item.name in taken:
            raise Wrong(path, f'is "{item.name}", as another one already is; give each its own name')
        taken.add(item.name)


def _check_switches(mission):
    if len(mission.switches) > SWITCHES_MAX:
        raise Wrong(("switches", SWITCHES_MAX), f"is one too many; {SWITCHES_MAX} switches are the most")
    _check_names("switches", mission.switches)
    for number, switch in enumerate(mission.switches):
        _check_switch(switch, mission, ("switches", number))


def _check_switch(switch, mission, path):
    for phase in switch.phases:
        if phase not in PHASES:
            raise Wrong((*path, "phases"), f'has "{phase}"; known: {", ".join(PHASES)}')
    if not switch.phases and all(getattr(switch, key) is None for key in _CONDITIONS):
        words = f"{switch.name} has no condition, so it would always be on; add phases or another"
        raise Wrong((*path, "name"), words)
    for low, high in _OPPOSITES:
        least, most = getattr(switch, low), getattr(switch, high)
        if least is not None and most is not None and least >= most:
            raise Wrong((*path, low), f"is {least:g}, not below {high} = {most:g}: it would never be on")
    for key in ("battery_above_mv", "battery_below_mv"):
        if getattr(switch, key) is not None:
            _check_battery(getattr(switch, key), mission.battery, (*path, key))
    for key in ("temperature_above_c", "temperature_below_c"):
        sensor = "outside_temperature" if switch.temperature_of == "outside" else "motion"
        if getattr(switch, key) is not None and getattr(mission, sensor).chip == "none":
            raise Wrong((*path, key), f'needs a thermometer, but {sensor}.chip is "none"')
        _check_temperature(getattr(switch, key), switch, mission, (*path, key))
    if switch.blink_period_ms or switch.blink_on_ms:
        if not 100 <= switch.blink_on_ms <= switch.blink_period_ms - 100:
            words = "must be 100 or more and at least 100 less than blink_period_ms"
            raise Wrong((*path, "blink_on_ms"), f"is {switch.blink_on_ms}; it {words}")


def _check_temperature(celsius, switch, mission, path):
    if celsius is None:
        return
    margin = TEMPERATURE_MARGIN_K if path[-1] == "temperature_below_c" else -TEMPERATURE_MARGIN_K
    of = switch.temperature_of
    if thermometer_counts(celsius, of, mission) == thermometer_counts(celsius + margin, of, mission):
        raise Wrong(path, f"is {celsius:g}, where this thermometer cannot tell one degree from the next")


def _check_battery(millivolts, battery, path):
    most = battery_range_mv(battery)
    if millivolts > most:
        words = "more than the converter can tell (battery.reference_mv times battery.divider_ratio)"
        raise Wrong(path, f"is {millivolts}, {words}: at most {most:.0f}")
