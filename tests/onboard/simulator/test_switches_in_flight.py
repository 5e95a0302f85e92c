"""A whole simulated flight with switches: what the log says of them agrees with what the world did."""

import csv
import dataclasses

import numpy as np
import pytest

from ground.commands.new import make_mission
from ground.decode import decode_flight
from ground.mission import load_mission
from ground.mission.sections import Switch
from ground.recover import recover_sources
from onboard.simulator import runners
from onboard.simulator.board.outputs import FILE_NAME
from onboard.simulator.prepare import CARD_NAME, prepare

HEATER_BELOW_C = -3.0
STILL_S = 60  # common practice, no source: so long it must lie still to have landed (onboard/firmware/phase.py)


@pytest.fixture(scope="module")
def flown(tmp_path_factory):
    """(truth, rows of the event table, folder) of a low flight of the template's payload with a heater."""
    base = tmp_path_factory.mktemp("switches")
    mission = load_mission(make_mission(base / "club"))
    heater = Switch("heater", 12, temperature_below_c=HEATER_BELOW_C, inverted=True)
    mission = dataclasses.replace(
        mission, balloon=dataclasses.replace(mission.balloon, burst_diameter_m=1.8),
        switches=(*mission.switches, heater),
    )
    truth = prepare(mission, 5, base / "flight", wait_s=60.0, after_s=240.0)
    runners.stage(base / "staged")
    runners.run_on_unix(base / "flight", base / "staged")
    recovered = recover_sources([base / "flight" / CARD_NAME])
    columns = decode_flight(recovered.boots).tables["event"].columns
    rows = list(zip(columns["tick_ms"] / 1000, columns["event"], columns["subject_name"], columns["detail"]))
    return truth, rows, base / "flight"


def switched(flown, name):
    return [(at, detail) for at, event, subject, detail in flown[1] if event == "switch changed" and subject == name]


def begins(flown, phase):
    (at,) = [at for at, event, subject, _ in flown[1] if event == "phase changed" and subject == phase]
    return at


def crossings(truth, values, number):
    """Times at which a series of the truth crosses a number."""
    above = np.asarray(values) > number
    return truth.time_s[1:][above[1:] != above[:-1]]


def cold_and_warm(truth):
    """When the true air begins to be colder than the heater's number (1), and a degree warmer again (0)."""
    found, state = [], 0
    for at, celsius in zip(truth.time_s, truth.temperature_k - 273.15):
        if celsius <= HEATER_BELOW_C if state == 0 else celsius >= HEATER_BELOW_C + 1:
            state = 1 - state
            found.append((at, state))
    return found


def test_the_flight_goes_through_the_cameras_height_and_the_heaters_temperature(flown):
    truth = flown[0]
    assert truth.burst.height_m > 1500
    assert len(cold_and_warm(truth)) >= 4  # an inversion is on the way: cold under it, warm over it, up and down


def test_the_camera_runs_from_its_height_until_a_minute_after_the_landing(flown):
    truth = flown[0]
    (on, one), (off, zero) = switched(flown, "camera")
    assert (one, zero) == (1, 0)
    reached = crossings(truth, truth.height_m, 1000.0)[0]
    assert reached - 3 <= on <= reached + 6  # the receiver's noise is metres, the climb some metres a second
    landed = begins(flown, "landed")
    assert truth.landing.time_s + STILL_S - 10 <= landed <= truth.landing.time_s + STILL_S + 30
    assert off == pytest.approx(landed + 60, abs=2)


def test_the_buzzer_sounds_after_the_landing_and_not_before(flown):
    ((on, one),) = switched(flown, "buzzer")
    assert one == 1
    assert on == pytest.approx(begins(flown, "landed") + 30, abs=2)


def test_the_heater_follows_the_cold(flown):
    told, expected = switched(flown, "heater"), cold_and_warm(flown[0])
    assert [state for _, state in told] == [state for _, state in expected]
    for (at, _), (crossed, _) in zip(told, expected):
        assert 0 <= at - crossed <= 40  # the thermometer follows the air in some tens of seconds


def test_the_pins_did_what_the_log_says(flown):
    _, _, folder = flown
    with open(folder / FILE_NAME, newline="", encoding="utf-8") as file:
        rows = [(int(ms) / 1000, int(pin), int(level)) for ms, pin, level in csv.reader(file)]
    for name, pin, inverted in (("camera", 15, 0), ("heater", 12, 1)):
        levels = [(at, level ^ inverted) for at, number, level in rows if number == pin]
        assert levels[0][1] == 0  # off from the start
        told = switched(flown, name)
        assert [level for _, level in levels[1:]] == [detail for _, detail in told]
        for (at, _), (logged, _) in zip(levels[1:], told):
            assert at == pytest.approx(logged, abs=0.2)
    beeps = [(at, level) for at, number, level in rows if number == 13][1:]
    assert beeps[0][1] == 1 and beeps[0][0] >= begins(flown, "landed") + 28
    assert len(beeps) > 60


def test_the_manifest_names_the_switches(flown):
    boots = recover_sources([flown[2] / CARD_NAME]).boots
    assert boots[0].manifest.sensors["switch_1"] == ("camera", ("15",))
    assert boots[0].manifest.sensors["switch_3"] == ("heater", ("12",))
