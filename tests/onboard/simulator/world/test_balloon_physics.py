"""Lift, drag, gas and fall against closed forms and handbook numbers."""

from dataclasses import replace
from math import exp, log, pi, sqrt, tanh

import numpy as np
import pytest

import onboard.simulator.world.balloon as physics
import onboard.simulator.world.integrate as integrator
from ground.mission.load import Balloon
from onboard.simulator.world.air import Air
from onboard.simulator.world.integrate import STEP_S, FlightError, Motion, integrate
from onboard.simulator.world.sounding import find_sounding, read_sounding

STILL = np.zeros(6 * 3600)
BALLOON = Balloon(mass_kg=0.8, burst_diameter_m=7.0, free_lift_kg=0.75, drag_coefficient=0.4, drag_coefficient_thin_air=0.4)
PAYLOAD_KG = 0.85
DRAG_AREA_M2 = 0.55


@pytest.fixture(scope="module")
def air():
    return Air(read_sounding(find_sounding("praha-libus-2007-11-20-1115z.csv")))


@pytest.fixture(scope="module")
def climb(air):
    return physics.climb_motion(air, BALLOON, PAYLOAD_KG, 96.0)


@pytest.fixture(scope="module")
def flown(climb):
    motion, burst_m = climb
    return integrate(motion, 96.0, 0.0, burst_m, STILL)


def uniform(lift_m_s2, resistance_per_m):
    return Motion(0.0, np.full(2000, lift_m_s2), np.full(2000, resistance_per_m))


def test_a_mole_of_gas_fills_the_molar_volume():
    # CODATA 2018: molar volume of an ideal gas at 273.15 K and 101.325 kPa, 22.413 969 54e-3 m3/mol.
    assert physics.gas_volume_m3(1.0, 101325.0, 273.15) == pytest.approx(22.41396954e-3, rel=1e-9)


@pytest.mark.parametrize("gas, density_kg_m3", [("helium", 0.1786), ("hydrogen", 0.0899)])
def test_the_gases_have_their_handbook_density(gas, density_kg_m3):
    # CRC Handbook, density of gases at 0 degC and 101.325 kPa (values from memory).
    molar_mass = physics.MOLAR_MASS_KG_MOL[gas]
    assert molar_mass / physics.gas_volume_m3(1.0, 101325.0, 273.15) == pytest.approx(density_kg_m3, rel=2e-3)


@pytest.mark.parametrize("gas, lift_kg_m3", [("helium", 1.056), ("hydrogen", 1.140)])
def test_a_cubic_metre_lifts_what_the_difference_of_densities_says(gas, lift_kg_m3):
    # Standard air of 15 degC, 1.225 kg/m3 (ISO 2533), less the gas of 15 degC: by hand.
    balloon = replace(BALLOON, gas=gas)
    amount = physics.gas_amount_mol(balloon, PAYLOAD_KG, 101325.0, 288.15, 1.225)
    volume_m3 = physics.gas_volume_m3(amount, 101325.0, 288.15)
    assert volume_m3 * lift_kg_m3 == pytest.approx(0.8 + 0.85 + 0.75, rel=1e-3)


def test_the_climb_is_as_fast_as_the_balance_of_forces_says(air, climb, flown):
    heights_m, speeds_m_s, _ = flown
    launch = [float(value(96.0)) for value in (air.pressure_pa, air.temperature_k, air.density_kg_m3)]
    helium_kg_m3 = launch[0] * 4.0026e-3 / (8.314463 * launch[1])
    volume_m3 = (0.8 + 0.85 + 0.75) / (launch[2] - helium_kg_m3)
    gas_kg = volume_m3 * helium_kg_m3
    for height_m in (1000.0, 5000.0, 12000.0, 20000.0, 29000.0):
        pressure, temperature, density = (
            float(value(height_m)) for value in (air.pressure_pa, air.temperature_k, air.density_kg_m3)
        )
        volume = volume_m3 * launch[0] / pressure * temperature / launch[1]  # Boyle and Gay-Lussac
        radius = (3.0 * volume / (4.0 * pi)) ** (1.0 / 3.0)
        net_kg = density * volume - gas_kg - 0.8 - 0.85
        gravity = 9.80665 * (6356766.0 / (6356766.0 + height_m)) ** 2
        terminal = sqrt(2.0 * net_kg * gravity / (density * 0.4 * pi * radius**2))
        assert physics.terminal_speed_m_s(climb[0], height_m) == pytest.approx(terminal, rel=1e-4)
        assert np.interp(height_m, heights_m, speeds_m_s) == pytest.approx(terminal, rel=0.01)


@pytest.mark.parametrize("kelvin, viscosity", [(288.15, 1.7894e-5), (216.65, 1.4216e-5), (255.65, 1.6282e-5)])
def test_the_viscosity_is_the_standard_atmospheres(kelvin, viscosity):
    # US Standard Atmosphere 1976, table of dynamic viscosity at 0, 11 and 5 km geopotential height (from memory).
    assert physics.dynamic_viscosity_pa_s(kelvin) == pytest.approx(viscosity, rel=2e-4)


def test_the_drag_grows_where_the_flow_becomes_laminar():
    balloon = replace(BALLOON, drag_coefficient=0.28, drag_coefficient_thin_air=0.5)
    reynolds = np.array([1e3, 1e5, 2e5, 4e5, 6e5, 1e7])
    drag = physics.drag_coefficients(balloon, reynolds)
    assert drag[[0, 1, 4, 5]] == pytest.approx([0.5, 0.5, 0.28, 0.28])
    assert np.all(np.diff(drag) <= 0)


def test_the_growing_drag_keeps_the_climb_steadier(air):
    mild = replace(BALLOON, drag_coefficient=0.28, drag_coefficient_thin_air=0.5)
    constant = replace(BALLOON, drag_coefficient=0.28, drag_coefficient_thin_air=0.28)
    ratio = [
        physics.terminal_speed_m_s(motion, 29000.0) / physics.terminal_speed_m_s(motion, 1000.0)
        for motion, _ in (physics.climb_motion(air, balloon, PAYLOAD_KG, 96.0) for balloon in (mild, constant))
    ]
    # Real soundings in tests/data: layers of one flight differ by a factor of 1.25 (Darwin, Lamont).
    assert ratio[0] < 0.8 * ratio[1]


def test_the_release_accelerates_the_balloon_and_half_the_air_it_displaces(air, flown):
    # Free lift over inertia: sphere in an ideal fluid (Lamb), added mass half of the displaced air.
    # Displaced air: the lifted 2.4 kg and the gas, which is 4.0026 / 28.9644 of it.
    displaced_kg = 2.4 / (1.0 - 4.0026 / 28.9644)
    inertia_kg = (displaced_kg - 0.75) + displaced_kg / 2.0
    speed_m_s = flown[1][1]
    assert speed_m_s / STEP_S == pytest.approx(0.75 * 9.80665 / inertia_kg, rel=0.005)


def test_the_balloon_bursts_where_the_gas_fills_it(air, climb):
    _, burst_m = climb
    # Amount by the gas law from the launch, volume of a sphere of 7.0 m: 179.594 m3, by hand.
    amount = physics.gas_amount_mol(
        BALLOON, PAYLOAD_KG, air.pressure_pa(96.0), air.temperature_k(96.0), air.density_kg_m3(96.0)
    )
    volume_m3 = amount * 8.314462618 * air.temperature_k(burst_m) / air.pressure_pa(burst_m)
    assert volume_m3 == pytest.approx(179.594, rel=1e-3)


def test_more_free_lift_climbs_faster_and_bursts_lower(air, climb):
    motion, burst_m = climb
    eager, eager_burst_m = physics.climb_motion(air, replace(BALLOON, free_lift_kg=1.2), PAYLOAD_KG, 96.0)
    assert eager_burst_m < burst_m
    assert physics.terminal_speed_m_s(eager, 5000.0) > physics.terminal_speed_m_s(motion, 5000.0)


def test_the_fall_is_as_fast_as_the_balance_of_forces_says(air):
    fall = physics.fall_motion(air, PAYLOAD_KG, DRAG_AREA_M2, 88.0)
    heights_m, speeds_m_s, _ = integrate(fall, 30000.0, 8.0, 88.0, STILL)
    for height_m in (20000.0, 10000.0, 5000.0, 1000.0, 100.0):
        gravity = 9.80665 * (6356766.0 / (6356766.0 + height_m)) ** 2
        terminal = sqrt(2.0 * PAYLOAD_KG * gravity / (float(air.density_kg_m3(height_m)) * DRAG_AREA_M2))
        speed = np.interp(height_m, heights_m[::-1], speeds_m_s[::-1])
        # Falling into denser air it is always a little faster than steady: 2 % at most.
        assert terminal * 0.999 < -speed < terminal * 1.02


def test_without_air_the_fall_follows_galilei():
    heights_m, speeds_m_s, duration_s = integrate(uniform(-9.80665, 0.0), 5000.0, 0.0, 100.0, STILL)
    # h = g t^2 / 2 and v = g t, from 4900 m.
    assert duration_s == pytest.approx(sqrt(2.0 * 4900.0 / 9.80665), abs=0.002)
    assert speeds_m_s[-1] == pytest.approx(-9.80665 * STEP_S * (len(heights_m) - 1), rel=1e-9)


def test_in_uniform_air_the_fall_follows_its_closed_form():
    # v = v_t tanh(g t / v_t), h = v_t^2 / g ln cosh(g t / v_t): fall with quadratic drag, textbook.
    terminal = 5.0
    motion = uniform(-9.80665, 9.80665 / terminal**2)
    heights_m, speeds_m_s, _ = integrate(motion, 200.0, 0.0, 100.0, STILL)
    for time_s in (0.25, 0.5, 1.0, 3.0, 10.0):
        step = round(time_s / STEP_S)
        x = 9.80665 * time_s / terminal
        assert -speeds_m_s[step] == pytest.approx(terminal * tanh(x), abs=0.005)
        fallen_m = terminal**2 / 9.80665 * (x + log((1.0 + exp(-2.0 * x)) / 2.0))
        assert 200.0 - heights_m[step] == pytest.approx(fallen_m, abs=0.01)


def test_an_updraught_carries_the_balloon_along():
    motion = uniform(2.0, 0.08)  # steady 5 m/s
    _, calm, _ = integrate(motion, 0.0, 0.0, 5000.0, STILL)
    _, lifted, _ = integrate(motion, 0.0, 0.0, 5000.0, np.full(len(STILL), 1.5))
    assert calm[-1] == pytest.approx(5.0, abs=1e-3)
    assert lifted[-1] == pytest.approx(6.5, abs=1e-3)
    # A later part of the flight meets the later updraughts.
    later = np.where(np.arange(len(STILL)) < 1000, 0.0, 1.5)
    _, early, _ = integrate(motion, 0.0, 0.0, 3000.0, later)
    _, late, _ = integrate(motion, 0.0, 0.0, 3000.0, later, 2000.0)
    assert (early[-1], late[-1]) == pytest.approx((5.0, 6.5), abs=1e-3)


def test_drag_only_takes_energy_away_in_the_fall(air):
    fall = physics.fall_motion(air, PAYLOAD_KG, DRAG_AREA_M2, 88.0)
    heights_m, speeds_m_s, _ = integrate(fall, 30000.0, 8.0, 88.0, STILL)
    potential = 9.80665 * 6356766.0 * heights_m / (6356766.0 + heights_m)  # J/kg, inverse square
    energy = potential + speeds_m_s**2 / 2.0
    assert np.all(np.diff(energy) < 1e-3)
    assert energy[-1] < energy[0] / 100.0


def test_half_the_step_gives_the_same_flight(climb, flown, monkeypatch):
    motion, burst_m = climb
    monkeypatch.setattr(integrator, "STEP_S", STEP_S / 2.0)
    _, speeds_m_s, duration_s = integrate(motion, 96.0, 0.0, burst_m, STILL)
    assert duration_s == pytest.approx(flown[2], abs=0.01)
    assert speeds_m_s[-1] == pytest.approx(flown[1][-1], abs=0.005)


@pytest.mark.parametrize(
    "change, words",
    [
        ({"gas": "argon"}, "balloon.gas must be helium or hydrogen"),
        ({"free_lift_kg": 0.0}, "free_lift_kg"),
        ({"mass_kg": -1.0}, "mass_kg"),
        ({"burst_diameter_m": 1.0}, "would burst on the ground"),
        ({"burst_diameter_m": 60.0}, "would not burst"),
    ],
)
def test_a_balloon_that_cannot_fly_is_refused(air, change, words):
    with pytest.raises(FlightError, match=words):
        physics.climb_motion(air, replace(BALLOON, **change), PAYLOAD_KG, 96.0)


def test_a_flight_that_never_ends_is_refused():
    with pytest.raises(FlightError, match="takes longer"):
        integrate(uniform(0.0, 1.0), 0.0, 0.0, 100.0, np.zeros(60))
    with pytest.raises(FlightError, match="parachute.drag_area_m2"):
        physics.fall_motion(None, PAYLOAD_KG, 0.0, 88.0)
