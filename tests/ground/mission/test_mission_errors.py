"""A mission file that is wrong gives one line, with file, line number and key."""

import re

import pytest

from ground.commands.new import template
from ground.mission import MissionError, load_mission

SWITCH = '[[switches]]\nname = "light"\npin = 10\nphases = ["landed"]\n'
PROBE = '[[probes]]\nname = "box"\nrom = "28ff641e001603cf"\n'


@pytest.fixture
def complaint(tmp_path):
    """What load_mission says of the template with one text in place of another, and the text that was loaded."""

    def load(old, new):
        assert template().count(old) == 1
        text = template().replace(old, new)
        path = tmp_path / "mission.toml"
        path.write_text(text, "utf-8")
        with pytest.raises(MissionError) as caught:
            load_mission(path)
        message = str(caught.value)
        assert message.startswith(str(path)) and "\n" not in message
        return message, text

    return load


END = "test_mode = 14"
# What is replaced, by what, the row that the message must name, the key, and what else it must say.
WRONG = [
    ('chip = "ms5611"', 'chip = "ms5612"', "ms5612", "barometer.chip", "ms5611, bmp280, none"),
    ('chip = "sht3x"', "chip = 3", "chip = 3", "humidity.chip", "text in quotes"),
    ("latitude_deg = 47.0321", "latitude_deg = 470.321", "470.321", "launch.latitude_deg", "-90 to 90"),
    ("latitude_deg = 47.0321", "latitude_deg = nan", "nan", "launch.latitude_deg", "-90 to 90"),
    ("latitude_deg = 47.0321", "latitude_degree = 47.0", "latitude_degree", "launch.latitude_degree", "latitude_deg?"),
    ("cells = 3 ", "cells = true ", "cells", "battery.cells", "a whole number"),
    ("cells = 3 ", "cells = 3.5 ", "cells", "battery.cells", "a whole number"),
    ("burst_diameter_m = 7.0", "", "[balloon]", "balloon.burst_diameter_m", "missing"),
    ("[parachute]", "[parachutes]", "[parachutes]", "parachutes", "did you mean parachute?"),
    ("utc = \"2026-11-21T09:30:00Z\"", 'utc = "2026-11-21 09:30"', "utc", "launch.utc", "2026-11-21T09:30:00Z"),
    ("name = \"Napraforgo-1\"", 'name = ""', "name", "payload.name", "1 to 60"),
    ("name = \"Napraforgo-1\"", 'name = "a\\nb"', "name", "payload.name", "one line"),
    (END, f"{END}\n{SWITCH}".replace("10", "17"), "pin = 17", "switches[3].pin", "pins.card_cs uses already"),
    (END, f"{END}\n{SWITCH}".replace("10", "15"), "pin = 15", "switches[3].pin", "the switch camera uses already"),
    (END, f"{END}\n{SWITCH}".replace("10", "30"), "pin = 30", "switches[3].pin", "0 to 29"),
    (END, f"{END}\n{SWITCH}".replace("light", "camera"), 'name = "camera"', "switches[3].name", "its own name"),
    (END, f"{END}\n{SWITCH}".replace("light", "two words"), "two words", "switches[3].name", "one word"),
    (END, f"{END}\n{SWITCH}".replace("landed", "landing"), "landing", "switches[3].phases", "falling, landed"),
    (END, f"{END}\n{SWITCH}".replace('["landed"]', "[]"), 'name = "light"', "switches[3].name", "no condition"),
    (END, f"{END}\n{SWITCH}above_m = 900\nbelow_m = 800\n", "above_m = 900", "switches[3].above_m", "never be on"),
    (END, f"{END}\n{SWITCH}battery_below_mv = 12000\n", "12000", "switches[3].battery_below_mv", "9900"),
    (END, f"{END}\n{SWITCH}blink_on_ms = 500\n", "blink_on_ms = 500", "switches[3].blink_on_ms", "blink_period_ms"),
    (END, f"{END}\n{SWITCH}hight = 500\n", "hight", "switches[3].hight", "known here: name, pin"),
    (END, f'{END}\n{SWITCH}temperature_of = "board"\ntemperature_below_c = -61\n', "-61",
     "switches[3].temperature_below_c", "one degree from the next"),
    (END, f"{END}\n" + "".join(SWITCH.replace("light", f"light{n}") for n in range(7)), "[[switches]]", "switches[9]",
     "8 switches"),
    (END, f"{END}\n{PROBE}".replace("cf", "ce"), "rom", "probes[1].rom", "check sum"),
    (END, f"{END}\n{PROBE}".replace("28ff641e001603cf", "021cb801000000a2"), "rom", "probes[1].rom", "no DS18B20"),
    (END, f"{END}\n{PROBE}{PROBE.replace('box', 'tank')}", "rom", "probes[2].rom", "of box too"),
    (END, f"{END}\n[downlink]\nbaud = 9601\n", "9601", "downlink.baud", "9600"),
    (END, f"{END}\n[downlink]\nduty_percent = 0\n", "duty_percent = 0", "downlink.duty_percent", "0.1 to 100"),
    ("i2c_sda = 4 ", "i2c_sda = 6 ", "i2c_sda = 6", "pins.i2c_sda", "0, 4, 8"),
    ("card_sck = 18 ", "card_sck = 10 ", "card_sck = 10", "pins.card_sck", "2, 6, 18, 22"),
    ("gnss_rx = 1 ", "gnss_rx = 2 ", "gnss_rx = 2", "pins.gnss_rx", "1, 13, 17, 29"),
    ("battery_adc = 27", "battery_adc = 22", "battery_adc = 22", "pins.battery_adc", "26, 27, 28, 29"),
    ("rail_adc = 28", "rail_adc = 27", "rail_adc = 27", "pins.rail_adc", "battery_adc uses"),
    ('chip = "pt1000_divider"', 'chip = "ntc_divider"', "[outside_temperature]", "outside_temperature.steinhart_hart",
     "three numbers"),
    ('chip = "pt1000_divider"', 'chip = "ds18b20"', "[outside_temperature]", "outside_temperature.rom", "16 hexa"),
    ("rate = 10 ", "rate = 65 ", "rate = 65", "parity.rate", "1 to 64"),
    ("sounding = ", "[[payload.more]]\nsounding = ", "payload.more", "payload.more", "not a known key"),
]  # fmt: skip


IDS = [f"{case[3]}-{number}" for number, case in enumerate(WRONG)]


@pytest.mark.parametrize(("old", "new", "row", "key", "words"), WRONG, ids=IDS)
def test_the_message_names_line_and_key(complaint, old, new, row, key, words):
    message, text = complaint(old, new)
    line = int(re.search(r"mission\.toml, line (\d+): ", message)[1])
    assert row in text.splitlines()[line - 1]
    assert f": {key} " in message
    assert words in message


def test_a_section_that_is_missing_is_asked_for(tmp_path):
    path = tmp_path / "mission.toml"
    path.write_text('[payload]\nname = "Napraforgo-1"\nmass_kg = 1\n', "utf-8")
    with pytest.raises(MissionError, match=r"mission.toml: launch is missing; add the section \[launch\]"):
        load_mission(path)


ABSURD = [
    "a = " + "[" * 5000, "a = " + "{a=" * 2000, "x = " + "9" * 5000, "\0", "a = 1979-99-99",
    "[payload]\nmass_kg = 1" + "0" * 400 + "\nname = 'x'", "switches = " + "[" * 300 + "]" * 300,
]  # fmt: skip


@pytest.mark.parametrize("text", ABSURD)
def test_absurd_files_are_refused_in_one_line(tmp_path, text):
    path = tmp_path / "mission.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(MissionError) as caught:
        load_mission(path)
    assert "\n" not in str(caught.value) and len(str(caught.value)) < 600


def test_a_pin_that_this_payload_does_not_use_is_free(tmp_path):
    path = tmp_path / "mission.toml"
    # 22: the 1-Wire bus, on which there is no thermometer.
    path.write_text(f"{template()}\n{SWITCH.replace('10', '22')}", "utf-8")
    assert load_mission(path).switches[-1].pin == load_mission(path).pins.onewire == 22
