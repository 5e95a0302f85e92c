"""Mishaps of the balloon and the payload: the flight that they make keeps to the physics of a textbook."""

import json
from dataclasses import replace

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from ground.mission import load_mission
from onboard.simulator.commands import DEMO_MISSION
from onboard.simulator.compare import compare
from onboard.simulator.fault_words import read_fault, targets_of
from onboard.simulator.mishap_words import KINDS, MishapError, list_lines, read_mishaps
from onboard.simulator.truth_file import write_truth
from onboard.simulator.world.flight import fly
from onboard.simulator.world.integrate import FlightError
from onboard.simulator.world.sensors import device_streams
from onboard.simulator.world.sounding import find_sounding, read_sounding
from onboard.simulator.world.tropopause import computed_tropopauses_m

DEMO = load_mission(DEMO_MISSION)
MISSION = replace(DEMO, balloon=replace(DEMO.balloon, burst_diameter_m=2.4))  # bursts at some 8 km
GRAVITY = 9.81  # m/s2 in the middle latitudes, textbook


def flown(*orders):
    return fly(MISSION, 5, wait_s=60.0, after_s=60.0, mishaps=read_mishaps(orders))


@pytest.fixture(scope="module")
def plain():
    return flown()


@pytest.fixture(scope="module")
def tangled():
    return flown("tangled 0.25", "tree 12")


@pytest.fixture(scope="module")
def floating():
    return flown("float 5000 1500", "carried-off 20")


def near_ground_m_s(truth):
    last = (truth.time_s < truth.landing.time_s - 1.0) & (truth.time_s > truth.landing.time_s - 60.0)
    return -truth.velocity_up_m_s[last].mean()


def test_an_early_burst_obeys_the_gas_law(plain):
    early = flown("early-burst 0.8")
    # Gas law: the same amount of gas has p / T as the inverse of its volume, and so of the diameter's cube.
    ratio = [
        truth.air.pressure_pa(truth.burst.height_m) / truth.air.temperature_k(truth.burst.height_m)
        for truth in (plain, early)
    ]
    assert ratio[0] / ratio[1] == pytest.approx(0.8**3, rel=1e-3)
    assert early.climb_end == early.burst and early.burst.height_m < plain.burst.height_m - 1000.0


def test_a_floating_balloon_has_no_net_lift(floating):
    from_s, to_s = floating.float_s
    assert to_s - from_s > 900.0
    part = (floating.time_s > from_s + 60.0) & (floating.time_s < to_s)
    # Without net lift it goes with the air, whose gusts average out (sizes of the gusts: world/flight.py).
    assert abs(floating.velocity_up_m_s[part].mean()) < 0.2
    assert np.abs(floating.height_m[part] - 5000.0).max() < 400.0
    assert floating.burst.time_s == pytest.approx(to_s, abs=0.1)


def test_a_leaking_balloon_sinks_no_faster_than_all_of_it_would_under_the_canopy():
    truth = flown("leak 3000 200")
    assert truth.burst is None and truth.climb_ended_by == "leak"
    assert truth.climb_end.height_m == pytest.approx(truth.height_m.max(), abs=1.0)
    down = (truth.time_s > truth.climb_end.time_s) & (truth.time_s < truth.landing.time_s)
    # Drag equation: v = sqrt(2 m g / (rho Cd A)); all masses, and a tenth more for gusts.
    mass_kg = MISSION.payload.mass_kg + MISSION.balloon.mass_kg + 0.6
    most = np.sqrt(2 * mass_kg * GRAVITY / (truth.air_density_kg_m3 * MISSION.parachute.drag_area_m2))
    assert np.all(-truth.velocity_up_m_s[down] < 1.1 * most[down])
    assert -truth.velocity_up_m_s[down].mean() > 0.5


def test_after_a_cut_the_payload_falls_freely():
    truth = flown("cut-down 5000")
    assert truth.burst is None and truth.climb_ended_by == "cut"
    at = int(round(truth.climb_end.time_s * 10)) + 1
    assert truth.height_m[at] == pytest.approx(5000.0, abs=2.0)
    # Where rising turns to falling there is no drag: the acceleration is that of gravity.
    slow = at + int(np.argmin(np.abs(truth.velocity_up_m_s[at : at + 30])))
    fall = (truth.velocity_up_m_s[slow + 1] - truth.velocity_up_m_s[slow - 1]) / 0.2
    assert fall == pytest.approx(-GRAVITY, abs=0.4)


def test_a_tangled_canopy_comes_down_faster_by_the_root_of_its_area(plain, tangled):
    # Drag equation: the speed goes as the inverse root of the drag area.
    assert near_ground_m_s(tangled) / near_ground_m_s(plain) == pytest.approx(2.0, rel=0.06)


def test_a_late_canopy_is_fast_above_and_slow_below(plain):
    late = flown("late-canopy 2500")
    speeds = {}
    for name, truth in (("plain", plain), ("late", late)):
        down = truth.time_s > truth.climb_end.time_s
        for where, low, high in (("above", 2700.0, 3200.0), ("below", 500.0, 2000.0)):
            part = down & (truth.height_m > low) & (truth.height_m < high)
            speeds[name, where] = -truth.velocity_up_m_s[part].mean()
    # A tenth of the area above, so the root of ten times the speed (drag equation).
    assert speeds["late", "above"] / speeds["plain", "above"] == pytest.approx(10**0.5, rel=0.1)
    assert speeds["late", "below"] == pytest.approx(speeds["plain", "below"], rel=0.05)


def test_in_a_tree_it_hangs_above_the_ground(tangled):
    assert tangled.landing.height_m == MISSION.launch.landing_height_m + 12.0
    assert tangled.height_m[-1] == pytest.approx(tangled.landing.height_m, abs=0.5)
    rows = device_streams(tangled, MISSION, 5)["motion"].rows
    rest = rows[int((tangled.landing.time_s + 10.0) * 20) :, :3] / (32768.0 / MISSION.motion.acceleration_range_g)
    # Upright, the axis that points up feels the support: one g, less what a tilt of 10 degrees takes (cosine).
    assert rest[:, 2].mean() == pytest.approx(1.0, abs=0.03)
    assert rest[:, 1].std() > 0.01  # it sways


def test_who_drives_off_with_it_keeps_to_the_road_speed(floating):
    end = len(floating.time_s) - 1
    start = end - 600
    line = Geodesic.WGS84.Inverse(
        floating.latitude_deg[start], floating.longitude_deg[start], floating.latitude_deg[end],
        floating.longitude_deg[end],
    )  # fmt: skip
    speed = np.hypot(floating.velocity_east_m_s, floating.velocity_north_m_s)[start:end]
    assert 0.7 * speed.mean() * 60.0 < line["s12"] <= 1.001 * speed.mean() * 60.0
    assert speed.mean() == pytest.approx(13.0, abs=0.1)  # as world/rest.py promises
    parked = int((floating.landing.time_s + 10.0) * 10)
    assert floating.latitude_deg[parked] == pytest.approx(floating.landing.latitude_deg, abs=1e-6)


def test_a_flight_that_never_burst_has_a_whole_truth(tmp_path):
    truth = flown("cut-down 3000")
    write_truth(tmp_path, truth, MISSION, 5)
    figures = json.loads((tmp_path / "truth.json").read_text("utf-8"))
    assert figures["burst"] is None and figures["flight"]["climb_ended_by"] == "cut"
    assert figures["flight"]["ballistic_coefficient_kg_m2"] == pytest.approx(0.85 / 0.55)
    lines = compare(figures, {"statements": {}})
    assert all(np.isfinite(line.truth) for line in lines)
    fault = read_fault("silent barometer burst fall+10", truth, targets_of(MISSION))
    assert fault.start_ms == pytest.approx(1000 * truth.climb_end.time_s, abs=1)


@pytest.mark.parametrize("name", ["praha-libus-2007-11-20-1115z.csv", "utqiagvik-2010-06-01-00z.csv",
                                  "south-pole-2008-12-08-12z.csv"])  # fmt: skip
def test_the_computed_tropopause_is_the_one_that_the_weather_service_reported(name):
    sounding = read_sounding(find_sounding(name))
    assert computed_tropopauses_m(sounding)[0] == sounding.tropopauses_m[0]


@pytest.mark.parametrize("orders, words", [
    (["boat 1"], "no kind 'boat'"),
    ([""], "no kind ''"),
    (["float 18000"], "must be float HEIGHT SECONDS"),
    (["tree 12 3"], "must be tree HEIGHT"),
    (["tree tall"], "HEIGHT must be a number from 1 to 60"),
    (["tangled nan"], "SHARE must be a number"),
    (["tree 12", "tree 15"], "ordered twice"),
    (["float 5000 900", "cut-down 4000"], "float ends the climb already"),
    (["leak 5000 60", "tangled 0.5"], "comes down on the balloon"),
])  # fmt: skip
def test_what_cannot_be_is_refused_in_one_line(orders, words):
    with pytest.raises(MishapError) as error:
        read_mishaps(orders)
    assert words in str(error.value) and "\n" not in str(error.value)


def test_a_height_outside_the_flight_is_refused():
    with pytest.raises(FlightError, match="cut-down at 20000 m is outside this flight"):
        flown("cut-down 20000")


def test_the_list_names_every_kind_with_its_numbers():
    shown = "\n".join(list_lines())
    assert all(kind.usage(name) in shown and kind.words in shown for name, kind in KINDS.items())
