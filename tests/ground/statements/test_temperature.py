"""What a flight through real soundings says about the air, with a slow thermometer, against the soundings.

Data: tests/data/soundings and onboard/simulator/soundings (see SOURCES.md in both).
"""

import numpy as np
import pytest

from sounding_flight import DARWIN, KOROR, MISSION, PRAHA, Flight

from ground.physics.atmosphere import geometric_height_m
from ground.statements import temperature


def covers(statement, truth):
    return abs(statement["value"] - truth) <= statement["uncertainty"]


@pytest.fixture(scope="module")
def praha():
    return Flight(PRAHA)


@pytest.fixture(scope="module")
def said(praha):
    return temperature.statements(praha.case())


def test_the_coldest_air_is_not_at_the_tropopause(said):
    # Praha: -72.05 degC at 26 361 geopotential metres, far above the tropopause (the sounding's rows).
    cold = said["coldest_air"]
    assert covers(cold, -72.05) and cold["uncertainty"] < 1.2
    assert cold["height_m"] == pytest.approx(geometric_height_m(26_361), abs=150)
    assert (
        said["tropopause"]["value"] < 13_000
        and cold["utc"]
        and cold["evidence"][0]["source"] == "air.temperature_degC"
    )


def test_the_tropopause_is_the_one_that_the_service_reported(said):
    # Praha: reported at 12 207 geopotential metres, 186.7 hPa, -69.2 degC.
    found = said["tropopause"]
    assert covers(found, geometric_height_m(12_207)) and found["uncertainty"] < 300
    row = dict(zip([name for name, _ in found["table"]["columns"]], found["table"]["rows"][0], strict=True))
    assert row["temperature"] == pytest.approx(-69.2, abs=0.8) and row["pressure"] == pytest.approx(186.7, abs=4)
    assert found["height_m"] - row["geopotential height"] == pytest.approx(23, abs=2)  # ISO 2533, equation 8
    # Above it: -72.05 degC, and then the warmest that the flight reached.
    assert said["warming_above"]["unit"] == "K" and said["warming_above"]["value"] > 5


def test_layers_freezing_level_and_ground(praha, said):
    height, air = praha.height_m[praha.climb], praha.air[praha.climb]
    zero = np.flatnonzero((air[:-1] > 0) & (air[1:] <= 0))[-1]
    assert covers(said["freezing_level"], height[zero]) and len(said["freezing_level"]["table"]["rows"]) == 3
    assert covers(said["ground_temperature"], praha.air[0])
    rows = said["lapse_rates"]["table"]["rows"]
    right = 0
    for low, high, rate, uncertainty, _ in rows:
        inside = (height >= low) & (height <= high)
        right += abs(-1000 * np.polyfit(height[inside], air[inside], 1)[0] - rate) <= uncertainty
    assert len(rows) >= 28 and right >= 0.85 * len(rows)
    # The rows of the sounding: from -4.55 degC at 1098 m to 6.85 at 2032 m.
    assert covers(said["inversions"], 11.4) or said["inversions"]["value"] == pytest.approx(11.4, abs=1.2)
    above = (height > 12_230) & (np.arange(len(height)) >= air.argmin())
    assert covers(said["warming_above"], air[above].max() - air.min())


@pytest.mark.parametrize("name, lag_s, mission", [(KOROR, 6.0, MISSION), (KOROR, 12.0, None), (DARWIN, 3.0, None)])
def test_other_air_and_other_thermometers(name, lag_s, mission):
    flight = Flight(name, lag_s=lag_s)
    found = temperature.statements(flight.case(mission))
    assert covers(found["thermometer_lag"], lag_s) and found["thermometer_lag"]["uncertainty"] < 0.5 * lag_s
    assert covers(found["coldest_air"], flight.air.min())
    first_m = {KOROR: 17_180, DARWIN: 17_536}[name]  # Koror: as reported; Darwin: the rule on the sounding's levels
    assert covers(found["tropopause"], geometric_height_m(first_m)) and found["tropopause"]["uncertainty"] < 700
    corrected = "were corrected" in found["thermometer_lag"]["text"]
    assert corrected == (mission is not None)


def test_without_the_sensor_of_heights_or_with_gaps_it_is_honest(praha):
    found = temperature.statements(praha.case(fixes_to_m=12_000.0))
    assert covers(found["coldest_air"], -72.05) and covers(found["tropopause"], geometric_height_m(12_207))
    # No temperatures from 8 to 20 km, neither way: the tropopause may be there, the coldest air too.
    keep = (praha.height_m < 8000) | (praha.height_m > 20_000)
    found = temperature.statements(praha.case(keep=keep))
    assert found["tropopause"]["value"] is None and "where it may be" in found["tropopause"]["reason"]
    assert found["coldest_air"]["value"] is None and "may have been colder" in found["coldest_air"]["reason"]
    # Gone in the climb only: the fall fills it, and that is said.
    keep = keep | (praha.time_s > praha.top_s)
    found = temperature.statements(praha.case(keep=keep))
    assert covers(found["tropopause"], geometric_height_m(12_207))
    assert any("fall only" in caveat for caveat in found["tropopause"]["caveats"])


def test_a_dead_thermometer_falls_back_to_the_humidity_chips(praha):
    frozen = Flight(PRAHA)
    frozen.read = np.where(frozen.time_s > 900, frozen.read[900], frozen.read)
    case = frozen.case(chip_says=np.maximum(praha.air, -45.0))
    thermometer = case.once(temperature.find_thermometer)
    found = temperature.statements(case)
    assert thermometer.column == "humidity_chip_temperature_degC" and thermometer.at_end > 1000
    assert found["coldest_air"]["value"] is None and "-45 °C" in found["coldest_air"]["reason"]
    assert covers(
        found["freezing_level"], praha.height_m[praha.climb][np.flatnonzero(praha.air[praha.climb] > 0)[-1]]
    )
    # SHT3x-DIS data sheet: rated down to -40 degC.
    assert any("SHT3x" in caveat for caveat in found["thermometer_trust"]["caveats"])
    assert found["most_humid_layer"]["value"] == pytest.approx(50, abs=1)


def test_a_thermometer_stuck_in_its_noise_is_replaced_by_its_fall(praha):
    flight = Flight(PRAHA)
    part = slice(900, flight.top_s + 10)
    noise = 0.03 * np.random.default_rng(4).standard_normal(len(flight.read))
    flight.read[part] = flight.read[900] + noise[part]
    found = temperature.statements(flight.case())
    for key, truth in (("coldest_air", -72.05), ("tropopause", geometric_height_m(12_207))):
        assert found[key]["value"] is None or covers(found[key], truth)
        assert found[key]["confidence"] != "high"
    assert covers(found["freezing_level"], 3160) and found["tropopause"]["value"] is not None
    trust = found["thermometer_trust"]
    assert trust["value"] < 50 and any("said the same" in caveat for caveat in trust["caveats"])


def test_where_it_is_freezing_all_the_way_up_words_say_so():
    # South Pole, December 2008: the sounding's warmest row is far below 0 degC.
    flight = Flight("south-pole-2008-12-08-12z", top_m=15_000.0)
    assert flight.air.max() < -20.0
    level = temperature.statements(flight.case())["freezing_level"]
    assert level["value"] is None and level["reason"] is None and level["confidence"] == "high"
    assert level["text"].startswith("It was freezing all the way up") and "32 °F" in level["text_imperial"]


def test_a_flight_that_ends_in_warm_air_knows_no_freezing_level():
    flight = Flight(PRAHA, top_m=1800.0)  # in the inversion, at 6.8 degC
    level = temperature.statements(flight.case())["freezing_level"]
    assert level["value"] is None and "still warmer than 0 °C" in level["reason"] and level["table"]["rows"]


def test_a_sample_a_minute_is_told_with_the_doubt_that_it_needs(praha):
    found = temperature.statements(praha.case(keep=praha.time_s % 60 == 0))
    assert covers(found["coldest_air"], -72.05) and found["coldest_air"]["confidence"] == "low"
    # Between the file's rows 0 degC is passed for good at 3158 geopotential metres.
    assert found["freezing_level"]["value"] is None or covers(found["freezing_level"], 3160)
    assert "too far apart" in found["tropopause"]["reason"]
    found = temperature.statements(praha.case(keep=praha.time_s % 15 == 0))
    for key, truth in (("coldest_air", -72.05), ("tropopause", geometric_height_m(12_207)), ("freezing_level", 3160)):
        assert covers(found[key], truth) and any("rarely" in caveat for caveat in found[key]["caveats"])


@pytest.mark.parametrize("noise_k", [0.0, 0.05])
def test_a_thermometer_that_says_one_thing_all_the_time_says_nothing(noise_k):
    flight = Flight(PRAHA, top_m=9000.0)
    flight.read = 5.0 + noise_k * np.random.default_rng(9).standard_normal(len(flight.read))
    found = temperature.statements(flight.case())
    trust = found.pop("thermometer_trust")
    assert trust["value"] == 0.0 and trust["confidence"] == "low"
    assert {made["reason"] for made in found.values()} == {"the thermometer said the same all the time"}


def test_spikes_do_not_make_cold_air(praha):
    flight = Flight(PRAHA)
    flight.read[np.random.default_rng(3).integers(0, len(flight.read), 300)] = -110.0
    flight.read[4000:4200] -= 9.0  # a bad contact
    found = temperature.statements(flight.case())
    assert covers(found["coldest_air"], -72.05)
    assert any("another scale" in caveat for caveat in found["thermometer_trust"]["caveats"])


def test_an_early_burst_says_why_there_is_no_tropopause():
    flight = Flight(PRAHA, top_m=7000.0)
    found = temperature.statements(flight.case())
    assert found["tropopause"]["value"] is None and found["tropopause"]["reason"]
    assert covers(found["coldest_air"], flight.air.min())
    assert found["warming_above"]["value"] is None and found["further_tropopauses"]["value"] is None


def test_without_air_temperatures_every_statement_has_its_reason(praha):
    case = praha.case(keep=np.zeros(len(praha.time_s), bool))
    found = temperature.statements(case)
    assert {made["reason"] for made in found.values()} == {"no air temperature in the data"}
    profile = case.once(temperature.find_profile)
    assert len(profile) == 0 and profile.reason
