"""Statements about heights and the barometer, of made-up flights with known errors (made_flight.py: hydrostatic
pressure in the standard atmosphere's temperatures plus some kelvin).
"""

import json

import numpy as np
import pytest
from made_flight import Plan, keep, log_of, ms5611_counts, pressure_pa, truth_of

from ground.decode import decode_flight
from ground.statements import build_case, log_facts
from ground.statements.heights import statements

PLAN = Plan(burst_m=28_000.0, warmer_k=6.0)


def case_of(log):
    flight = decode_flight([log])
    return build_case(flight, log_facts(flight))


def made(offset_hpa=0.0, plan=PLAN):
    """The plan's log with a barometer that reads so much too high."""
    log = log_of(plan)
    records = log.records["pressure"]
    t = records.tick_ms / 1000.0 / (1 + plan.drift_ppm * 1e-6)
    noise = np.random.default_rng(4).normal(0, plan.pressure_noise_pa, len(t))
    pascal = pressure_pa(truth_of(plan).height_at(t), plan.warmer_k) + 100.0 * offset_hpa + noise
    records.values["pressure_counts"] = ms5611_counts(pascal)[0]
    return log


@pytest.fixture(scope="module")
def said():
    return statements(case_of(made()))


def covers(statement, truth):
    return abs(statement["value"] - truth) <= statement["uncertainty"]


def test_a_good_barometer_is_called_good(said):
    assert covers(said["barometer_offset"], 0.0) and said["barometer_offset"]["uncertainty"] < 0.5
    assert "no clear error" in said["barometer_offset"]["text"]
    # From the lowest fixes upwards both ways agree; the standard atmosphere, 6 K colder, does not.
    assert said["height_agreement"]["value"] < 40.0
    top = said["height_agreement"]["table"]["rows"][-1]
    assert top[1] > 400.0 and abs(top[2]) < 60.0


@pytest.mark.parametrize("offset_hpa", [1.5, -1.0])
def test_an_error_of_the_barometer_is_found_and_taken_off(offset_hpa):
    said = statements(case_of(made(offset_hpa)))
    assert covers(said["barometer_offset"], offset_hpa)
    assert ("high" if offset_hpa > 0 else "low") in said["barometer_offset"]["text"]
    truth = truth_of(PLAN)
    top = said["pressure_at_top"]
    assert covers(top, pressure_pa(truth.height_m.max(), PLAN.warmer_k) / 100.0) and top["uncertainty"] < 0.6
    assert any("was taken off" in line for line in top["caveats"])
    assert covers(said["ground_pressure"], pressure_pa(PLAN.ground_m, PLAN.warmer_k) / 100.0)


def test_pressures_of_ground_and_top(said):
    truth = truth_of(PLAN)
    assert covers(said["ground_pressure"], pressure_pa(PLAN.ground_m, PLAN.warmer_k) / 100.0)
    assert covers(said["pressure_at_top"], pressure_pa(truth.height_m.max(), PLAN.warmer_k) / 100.0)
    # MS5611-01BA03 data sheet: +-1.5 mbar; near the ground nothing in the flight knows better.
    assert 1.4 < said["ground_pressure"]["uncertainty"] < 2.0


def test_a_barometer_that_stood_still_at_the_top_is_carried_on():
    log = made()
    records, burst_s = log.records["pressure"], truth_of(PLAN).burst_s
    near = np.abs(records.tick_ms / 1000.0 - burst_s) < 60.0
    records.values["pressure_counts"][near] = records.values["pressure_counts"][np.argmax(near)]
    top = statements(case_of(log))["pressure_at_top"]
    assert covers(top, pressure_pa(truth_of(PLAN).height_m.max(), PLAN.warmer_k) / 100.0)
    assert any("nearest reading" in line for line in top["caveats"])


def test_below_what_a_chip_is_rated_for_is_a_caveat():
    # Data sheets: MS5611 10 to 1200 mbar, BMP280 300 to 1100 hPa. At 28 km there are some 17 hPa.
    case = case_of(made())
    assert not any("rates" in line for line in statements(case)["pressure_at_top"]["caveats"])
    case.flight.sensors["barometer"] = ("bmp280", ())
    said = statements(case)
    for key in ("pressure_at_top", "barometer_offset", "height_agreement"):
        assert any("BMP280 down to 300 hPa" in line for line in said[key]["caveats"])


def test_what_is_missing_is_named():
    log = made()
    cold = statements(case_of(keep(log, "air", lambda t: t < 0)))
    assert "no air temperatures" in cold["barometer_offset"]["reason"]
    assert cold["pressure_at_top"]["value"] is not None
    blind = statements(case_of(keep(log, "fix", lambda t: t < 0)))
    assert "no fixes with a height" in blind["height_agreement"]["reason"]
    deaf = statements(case_of(keep(log, "pressure", lambda t: t < 0)))
    for key in ("height_agreement", "barometer_offset", "pressure_at_top", "ground_pressure"):
        assert deaf[key]["value"] is None and deaf[key]["reason"]


def test_a_low_flight_cannot_tell_the_barometers_error():
    said = statements(case_of(made(plan=Plan(burst_m=4_000.0))))
    assert said["barometer_offset"]["value"] is None and said["barometer_offset"]["confidence"] == "cannot tell"


def test_statements_are_plain_json_with_a_text_each(said):
    json.dumps(said, allow_nan=False)
    for statement in said.values():
        assert statement["text"] and statement["text_imperial"]
