"""Faults in words become times and numbers, and what cannot be is refused in one line."""

from types import SimpleNamespace

import numpy as np
import pytest

from ground.mission import load_mission
from onboard.simulator.commands import DEMO_MISSION
from onboard.simulator.fault_words import KINDS, FaultError, read_fault, schedule, targets_of
from onboard.simulator.rehearsals import list_lines, rehearsals
from onboard.simulator.simulate import ordered


def flight(length_s=8000.0):
    """A truth with release at 180 s, burst at 5000 s, landing at 7500 s, and air of a steady 230 K."""
    time_s = np.arange(round(length_s * 10) + 1) / 10
    return SimpleNamespace(
        time_s=time_s, temperature_k=np.full(len(time_s), 230.0), release=SimpleNamespace(time_s=180.0),
        burst=SimpleNamespace(time_s=5000.0), landing=SimpleNamespace(time_s=7500.0),
    )  # fmt: skip


MISSION = load_mission(DEMO_MISSION)
TRUTH = flight()


def read(text):
    return read_fault(text, TRUTH, targets_of(MISSION))


@pytest.mark.parametrize("words, start_s, stop_s", [
    ("0 60", 180, 240), ("-30 launch", 150, 180), ("climb+600 burst-60", 780, 4940), ("power-on end", 0, 8000),
    ("power-on+30 power-on+30.5", 30, 30.5), ("fall landing-100", 5000, 7400), ("landing+10 99999", 7510, 8000),
])  # fmt: skip
def test_times_are_seconds_since_launch_or_tied_to_a_moment(words, start_s, stop_s):
    fault = read(f"silent barometer {words}")
    assert (fault.start_ms, fault.stop_ms) == (1000 * start_s, 1000 * stop_s)


@pytest.mark.parametrize("text, words", [
    ("silent barometer 0", "must be KIND TARGET FROM TO"),
    ("asleep barometer 0 10", "no kind 'asleep'"),
    ("silent card 0 10", "cannot befall 'card'"),
    ("silent probes 0 10", "cannot befall 'probes'"),  # this payload has none
    ("silent barometer top 10", "'top' is no time"),
    ("silent barometer burst10 end", "is no time"),
    ("silent barometer 1e9 end", "is no time"),
    ("silent barometer 10 10", "ends before it begins"),
    ("silent barometer -181 10", "begins outside the flight"),
    ("silent barometer 0 10 5", "takes no number"),
    ("slow card 0 10 many", "must be a whole number"),
    ("slow card 0 10 0", "must be a whole number from 1"),
    ("reset board 0 10 99999999", "must be a whole number"),
])
def test_what_cannot_be_is_refused_in_one_line(text, words):
    with pytest.raises(FaultError) as error:
        read(text)
    assert words in str(error.value) and "\n" not in str(error.value)


@pytest.mark.parametrize("text", [
    "silent barometer " + "9" * 5000 + " end", "\x00 \x00 \x00 \x00", "é ü 0 10", "slow card 0 10 " + "9" * 5000,
])
def test_strange_text_is_refused_too(text):
    with pytest.raises(FaultError):
        read(text)


def test_battery_and_rail_are_ordered_in_millivolts():
    # A battery divided by 3 and a reference of 3.3 V: 900 mV are 300 mV at the pin, 1/11 of the reference.
    [[kind, target, _, _, number]] = schedule([read("shifted battery 0 10 -900")], MISSION, TRUTH)
    assert (kind, target) == ("shifted", "battery") and number == pytest.approx(-(2**20) / 11, abs=1)


def test_a_crystal_in_the_cold_is_slow_by_the_parabola_of_its_data_sheet():
    # -0.034 ppm/K2 beside 25 degC, as data sheets of 32.768 kHz tuning-fork crystals have it (from memory). The board
    # is 28 K warmer than the air of 230 K in the end: 258 K, 40 K below.
    rows = schedule([read("cooling clock power-on end")], MISSION, TRUTH)
    assert rows[0][2] == 0 and rows[-1][3] == 8_000_000
    assert all(before[3] == after[2] for before, after in zip(rows, rows[1:], strict=False))
    assert rows[-1][4] == pytest.approx(-0.034 * (298.15 - 258.0) ** 2, abs=1)


def test_what_the_desktop_does_is_not_asked_of_the_board():
    faults = [read("full card burst end"), read("damaged card end end")]
    assert schedule(faults, MISSION, TRUTH) == []


def test_every_rehearsal_fits_the_demo_and_is_one_line():
    for rehearsal in rehearsals().values():
        faults, left_out = ordered(MISSION, TRUTH, [], rehearsal)
        assert left_out == [] and len(faults) == len(rehearsal.faults)
        assert len(rehearsal.line) <= 120 and rehearsal.line.endswith(".")
    assert len(list_lines()) == len(rehearsals())


def test_the_rehearsals_go_from_nothing_to_everything():
    known = list(rehearsals().values())
    assert known[0].faults == () and len(known[-1].faults) == max(len(r.faults) for r in known)


def test_the_rehearsals_show_most_kinds_of_faults():
    shown = {order.split()[0] for rehearsal in rehearsals().values() for order in rehearsal.faults}
    assert set(KINDS) - shown <= {"zeros", "ones", "noisy", "drift"}


def test_a_flight_that_is_too_short_for_a_rehearsal_says_what_is_left_out():
    truth = flight(1500.0)
    truth.burst.time_s, truth.landing.time_s = 600.0, 1300.0
    faults, left_out = ordered(MISSION, truth, [], rehearsals()["cold-battery"])
    assert [fault.kind for fault in faults] == ["reset"] * 3
    assert len(left_out) == 1 and "'shifted battery climb+900 burst+300 -900': ends before it begins" in left_out[0]
