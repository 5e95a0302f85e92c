"""Boards with other sensors than the demo's fly on every interpreter, and what they log is what was true."""

import dataclasses

import numpy as np
import pytest

from ground.decode import decode_flight, group_boots
from ground.mission import load_mission
from ground.mission.sections import Probe
from ground.recover import recover_source
from onboard.simulator import runners
from onboard.simulator.commands import DEMO_MISSION
from onboard.simulator.prepare import CARD_NAME, copy_prepared, prepare
from onboard.simulator.world.chance import first_order_lag
from onboard.simulator.world.sensors import inside_temperature_k, lag_s

# The last byte of each is its check sum, by the method of Maxim application note 27.
ROMS = ("28ff641d8fdf18c1", "28ff641d8fdf199f", "28ff641d8fdf1a7d")


def changed(mission, **sections):
    replaced = {name: dataclasses.replace(getattr(mission, name), **keys) for name, keys in sections.items()}
    return dataclasses.replace(mission, **replaced)


def boards():
    """Two missions of a low flight: without humidity and motion, and with all thermometers on one wire."""
    mission = changed(load_mission(DEMO_MISSION), balloon={"burst_diameter_m": 1.66})
    digital = changed(
        mission, barometer={"chip": "bmp280", "address": 0x76, "calibration": ()}, humidity={"chip": "none"},
        motion={"chip": "none"}, outside_temperature={"chip": "tmp117", "address": 0x49},
    )
    digital = dataclasses.replace(digital, probes=(Probe("battery", ROMS[0]), Probe("camera", ROMS[1])))
    wired = changed(mission, outside_temperature={"chip": "ds18b20", "rom": ROMS[2]})
    wired = dataclasses.replace(wired, probes=(Probe("battery", ROMS[0]),))
    return {"digital": digital, "wired": wired}


@pytest.fixture(scope="module")
def staged(tmp_path_factory):
    folder = tmp_path_factory.mktemp("staged")
    runners.stage(folder)
    return folder


@pytest.fixture(scope="module", params=["digital", "wired"])
def flown(request, tmp_path_factory, staged):
    """The cards of one board by interpreter, the truth, and the flight decoded."""
    base = tmp_path_factory.mktemp(request.param)
    truth = prepare(boards()[request.param], 5, base / "cpython", wait_s=10.0, after_s=10.0)
    for name in ("unix", "wasm"):
        copy_prepared(base / "cpython", base / name)
    runners.run_in_process(base / "cpython")
    runners.run_on_unix(base / "unix", staged)
    runners.run_on_wasm(base / "wasm", staged)
    cards = {name: (base / name / CARD_NAME).read_bytes() for name in ("cpython", "unix", "wasm")}
    (boots,) = group_boots(recover_source(base / "cpython" / CARD_NAME).boots).values()
    return request.param, cards, truth, decode_flight(boots)


def test_the_card_is_the_same_to_the_byte(flown):
    _, cards, _, _ = flown
    assert cards["unix"] == cards["cpython"]
    assert cards["wasm"] == cards["cpython"]


def test_no_sensor_failed_and_no_sample_was_missed(flown):
    _, _, _, flight = flown
    assert not {"device failed", "blocks lost"} & set(flight.tables["event"].columns["event"])
    assert not np.nansum(flight.tables["health"].columns["missed_samples"])
    assert [note for note in flight.notes if "sensor" in note] == []


def test_what_is_not_on_the_board_is_not_in_the_log(flown):
    name, _, _, flight = flown
    assert ("motion" in flight.tables) == (name == "wired")
    assert ("humidity" in flight.sensors) == (name == "wired")
    air = flight.tables["air"].columns
    if name == "digital":
        assert np.isnan(air["humidity_counts"]).all()
        assert np.isnan(flight.tables["power"].columns["board_temperature_counts"]).all()
    else:
        assert np.isfinite(air["relative_humidity_percent"]).all()


def at_the_time_of(table, truth, values):
    """What was true when each row was sampled: the board's clock starts with the truth's."""
    return np.interp(table.columns["tick_ms"] / 1000.0, truth.time_s, values)


def test_the_pressure_is_the_true_one(flown):
    _, _, truth, flight = flown
    table = flight.tables["pressure"]
    error_pa = 100.0 * table.columns["pressure_hPa"] - at_the_time_of(table, truth, truth.pressure_pa)
    # The tape has a row every 100 ms, in which the pressure changes by up to 6 Pa; the noise is 1.5 Pa.
    assert np.isfinite(error_pa).all() and np.abs(error_pa).max() < 6.0 + 6 * 1.5
    assert abs(error_pa.mean()) < 6.0
    assert len(table) >= 5 * truth.time_s[-1] - 5


def test_the_outside_temperature_is_that_of_the_element(flown):
    _, _, truth, flight = flown
    table = flight.tables["air"]
    slow_s = lag_s(6.0, truth.air_density_kg_m3)
    element_k = first_order_lag(truth.temperature_k, 0.1, slow_s, truth.temperature_k[0])
    error_k = table.columns["temperature_degC"] + 273.15 - at_the_time_of(table, truth, element_k)
    assert np.isfinite(error_k).all() and len(table) >= truth.time_s[-1] - 3
    # Noise 0.05 K; half a count of the DS18B20 is 0.03 K; its tape has a row every 500 ms, worth 0.15 K at
    # 0.3 K/s.
    assert np.abs(error_k).max() < 5 * 0.05 + 0.03 + 0.15 and abs(error_k.mean()) < 0.05


def test_the_probes_have_a_reading_each_of_the_same_moment(flown):
    name, _, truth, flight = flown
    columns = flight.tables["probe"].columns
    numbers = [1, 2] if name == "digital" else [1]
    assert sorted(set(columns["probe"])) == numbers
    ticks = [columns["tick_ms"][columns["probe"] == number] for number in numbers]
    assert len(ticks[0]) >= truth.time_s[-1] / 2 - 3 and all((tick == ticks[0]).all() for tick in ticks)
    inside = at_the_time_of(flight.tables["probe"], truth, inside_temperature_k(truth)) - 273.15
    first = columns["probe"] == 1
    assert np.abs(columns["temperature_degC"] - inside)[first].max() < 1.5
