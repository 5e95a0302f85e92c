"""Beacons as rows: degrees, metres, seconds, the phase in a word, volts."""

from dataclasses import replace

import numpy as np
import pytest
from made_flight import SENSORS, boot_log, records_of

from ground.decode import decode_flight
from ground.decode.texts import subject_name
from protocol.table import PHASES, event_code


def beacons(**fields):
    return records_of("beacon", [1000, 11_000, 21_000, 31_000, 41_000], **fields)


def table_of(log):
    return decode_flight([log]).tables["beacon"]


def test_a_beacon_becomes_a_row_of_quantities():
    records = beacons(
        latitude=235_000_000, longitude=-99_000_000, height=12345, fix_age=7, phase=np.arange(5),
        battery_counts=28000,
    )
    columns = table_of(boot_log({"beacon": records})).columns
    assert columns["latitude_deg"][0] == 47.0 and columns["longitude_deg"][0] == -19.8
    assert columns["height_m"][0] == 12345 and columns["fix_age_s"][0] == 7
    assert columns["battery_V"][0] == pytest.approx(28000 / 65535 * 3.3 * 3)  # by the manifest's words
    assert list(columns["phase"]) == [*PHASES, ""]  # the fifth is of a firmware to come
    assert list(columns["phase_number"]) == [0, 1, 2, 3, 4]
    assert "battery_counts" not in columns


def test_what_is_not_known_stays_empty():
    columns = table_of(boot_log({"beacon": beacons(phase=1)})).columns
    for name in ("latitude_deg", "longitude_deg", "height_m", "fix_age_s", "battery_V"):
        assert np.isnan(columns[name]).all()
    records = beacons(battery_counts=28000)
    columns = table_of(boot_log({"beacon": records})).columns
    assert list(columns["phase"]) == [""] * 5


def test_without_the_manifests_word_on_the_battery_its_counts_stay_counts():
    log = boot_log({"beacon": beacons(phase=1, battery_counts=28000)})
    without = {role: sensor for role, sensor in SENSORS.items() if role != "battery"}
    columns = table_of(replace(log, manifest=replace(log.manifest, sensors=without))).columns
    assert columns["battery_counts"][0] == 28000 and "battery_V" not in columns


@pytest.mark.parametrize("name", ["receiver set", "receiver not set"])
def test_the_events_about_the_receiver_name_it(name):
    assert subject_name(event_code(name), 5) == "gnss"
