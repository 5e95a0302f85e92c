"""The board's configuration from a mission: the example club's, and what each sensor and switch becomes.

Thresholds in counts are checked by the way back: the ground's own conversions of the counts, which other tests
check against the data sheets.
"""

import dataclasses

import numpy as np
import pytest

from ground.commands.new import make_mission
from ground.decode import chips, thermometers
from ground.mission import load_mission
from ground.mission.board import board_settings
from ground.mission.sections import Downlink, OutsideTemperature, Probe, Switch
from ground.mission.thresholds import battery_counts, ntc_resistance_ohm, thermometer_counts

STEINHART_HART = (2.108508173e-3, 7.979204727e-5, 6.535076315e-7)


@pytest.fixture(scope="module")
def mission(tmp_path_factory):
    return load_mission(make_mission(tmp_path_factory.mktemp("new") / "club"))


def settings_with(mission, **changes):
    return board_settings(dataclasses.replace(mission, **changes), bytes(4))


def switch_with(mission, **conditions):
    return settings_with(mission, switches=(Switch("light", 10, **conditions),))["switches"][0]


def test_a_plain_payload_has_what_the_board_always_had(mission):
    settings = settings_with(mission, switches=())
    assert settings["rates"] == {
        "pressure": 200, "air": 1000, "motion": 100, "power": 5000, "health": 10000, "manifest": 300000
    }
    assert settings["sensors"]["motion"] == ["mpu6050", 16, 2000]
    assert settings["addresses"] == {"barometer": 0x77, "humidity": 0x44, "motion": 0x68}
    assert not {"gnss", "downlink", "switches"} & set(settings)


def test_a_sensor_that_is_none_is_left_out(mission):
    settings = settings_with(
        mission, barometer=dataclasses.replace(mission.barometer, chip="none"),
        motion=dataclasses.replace(mission.motion, chip="none"),
    )
    assert not {"barometer", "motion", "board_temperature"} & set(settings["sensors"])
    assert settings["addresses"] == {"humidity": 0x44}


def test_probes_are_numbered_in_the_order_of_the_file(mission):
    probes = (Probe("box", "28FF641E001603CF"), Probe("tank", "28ff641e0016044c"))
    settings = settings_with(mission, probes=probes)
    assert settings["sensors"]["probe_1"] == ["ds18b20", "28ff641e001603cf"]
    assert settings["sensors"]["probe_2"] == ["ds18b20", "28ff641e0016044c"]
    assert settings["rates"]["probe"] == 2000


def test_the_receiver_is_set_only_if_it_can_be(mission):
    assert settings_with(mission, gnss=dataclasses.replace(mission.gnss, chip="ubx"))["gnss"] == {"model": 8}


def test_the_downlink_is_in_the_boards_own_units(mission):
    downlink = settings_with(mission, downlink=Downlink(duty_percent=0.5, low_battery_mv=4950))["downlink"]
    assert downlink["duty_permille"] == 5
    # 4.95 V behind 3:1 is half of 3.3 V; half of the full scale 65535.
    assert abs(downlink["low_battery_counts"] - 65535 / 2) <= 0.5


def test_a_switch_has_a_line_in_the_manifest_with_its_name(mission):
    switches = (Switch("none", 10, ("landed",)), Switch("light", 11, ("landed",)))
    sensors = settings_with(mission, switches=switches)["sensors"]
    assert sensors["switch_1"] == ["none", 10]  # a name is no chip
    assert sensors["switch_2"] == ["light", 11]


def test_without_phases_a_switch_counts_in_all(mission):
    assert switch_with(mission, above_m=1000.0)["phases"] == [0, 1, 2, 3]
    assert switch_with(mission, phases=("falling", "landed"))["phases"] == [2, 3]


def test_heights_stay_metres_with_a_margin_beyond(mission):
    above, below = switch_with(mission, above_m=1000.0, below_m=9000.4)["conditions"]
    assert above[:3] == ["height", 1000, 980]
    assert below[:3] == ["height", 9000, 9020]


def back_to_volt(mission, counts):
    battery = mission.battery
    words = (str(battery.reference_mv), str(round(battery.divider_ratio * 1000)))
    return chips.adc_divider(words, np.array([float(counts)]))[0][0]


@pytest.mark.parametrize("millivolts", [1000, 3600, 4950, 9800])
def test_a_battery_voltage_is_its_counts(mission, millivolts):
    volt = back_to_volt(mission, battery_counts(millivolts, mission.battery))
    assert volt == pytest.approx(millivolts / 1000, abs=0.5 * 9.9 / 65535 * 1.01)


def with_thermometer(mission, chip):
    reference_ohm = 10000.0 if chip == "ntc_divider" else 1000.0
    thermometer = OutsideTemperature(chip, reference_ohm, STEINHART_HART)
    return dataclasses.replace(mission, outside_temperature=thermometer)


@pytest.mark.parametrize("celsius", [-65.0, -20.0, -0.5, 0.0, 25.0, 60.0])
def test_a_pt1000s_temperature_is_its_counts(mission, celsius):
    counts = thermometer_counts(celsius, "outside", with_thermometer(mission, "pt1000_divider"))
    (back,) = thermometers.pt1000_divider(("1000",), np.array([float(counts)]))
    assert back[0] == pytest.approx(celsius, abs=0.02)


@pytest.mark.parametrize("celsius", [-59.0, -20.0, 0.0, 36.53, 60.0])
def test_the_boards_temperature_is_its_counts(mission, celsius):
    counts = thermometer_counts(celsius, "board", mission)
    (back,) = chips.mpu6050_temperature((), np.array([float(counts)]))
    assert back[0] == pytest.approx(celsius, abs=0.5 / 340 * 1.01)


# Data sheets: TMP117 (SNOSD82D, table 7-1) and DS18B20 (table 1); the sign bit is turned over.
@pytest.mark.parametrize(
    ("chip", "word", "celsius"),
    [
        ("tmp117", 0x0C80, 25.0), ("tmp117", 0x0080, 1.0), ("tmp117", 0xFFFF, -0.0078125), ("tmp117", 0x8000, -256.0),
        ("ds18b20", 0x07D0, 125.0), ("ds18b20", 0x0191, 25.0625), ("ds18b20", 0xFFF8, -0.5),
        ("ds18b20", 0xFE6F, -25.0625),
    ],
)  # fmt: skip
def test_digital_thermometers_have_the_words_of_their_data_sheets(mission, chip, word, celsius):
    assert thermometer_counts(celsius, "outside", with_thermometer(mission, chip)) == word ^ 0x8000


# The three points from which a published thermistor calculator's example makes these coefficients
# (Stanford Research Systems: 25 kOhm at 5 degC, 10 kOhm at 25 degC, 4 kOhm at 45 degC).
@pytest.mark.parametrize(("celsius", "ohm"), [(5, 25000), (25, 10000), (45, 4000)])
def test_a_thermistor_has_the_resistance_of_its_three_points(mission, celsius, ohm):
    assert ntc_resistance_ohm(celsius, STEINHART_HART) == pytest.approx(ohm, rel=1e-6)
    counts = thermometer_counts(celsius, "outside", with_thermometer(mission, "ntc_divider"))
    assert abs(counts - 65535 * ohm / (ohm + 10000)) <= 0.51


@pytest.mark.parametrize("celsius", np.linspace(-70, 60, 14))
def test_a_thermistors_resistance_satisfies_the_steinhart_hart_equation(celsius):
    logarithm = np.log(ntc_resistance_ohm(celsius, STEINHART_HART))
    a, b, c = STEINHART_HART
    assert 1 / (a + b * logarithm + c * logarithm**3) - 273.15 == pytest.approx(celsius, abs=1e-9)


@pytest.mark.parametrize("chip", ["pt1000_divider", "ntc_divider", "tmp117", "ds18b20"])
def test_a_heater_comes_on_in_the_cold_and_a_broken_wire_is_no_cold(mission, chip):
    switch = Switch("heater", 10, temperature_below_c=-10.0)
    settings = board_settings(dataclasses.replace(with_thermometer(mission, chip), switches=(switch,)), bytes(4))
    ((source, on_at, off_at, lowest, highest),) = settings["switches"][0]["conditions"]
    assert source == "outside"
    warmer_is_more = chip != "ntc_divider"
    assert (on_at < off_at) == warmer_is_more
    assert lowest < min(on_at, off_at) and max(on_at, off_at) < highest
    if chip.endswith("divider"):
        assert 0 < lowest and highest < 65534  # a short and an open wire are beyond
