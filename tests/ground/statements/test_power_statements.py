"""The statements about power and cold, of made flights whose battery obeys Ohm's law."""

from dataclasses import replace

import numpy as np
import pytest
from made_flight import Plan, boot_log, keep, log_of, records_of, truth_of

from ground.analyse.series import Series
from ground.decode import decode_flight
from ground.statements import power as said
from ground.statements.case import build_case
from ground.statements.log import log_facts
from ground.statements.power_silence import _collapsed
from protocol.table import DEVICES, event_code

# Ohm's law: a cell of this resistance gives so much less for each ampere drawn.
RESISTANCE_OHM, LOGGER_A = 0.45, 0.13
NOISE_V = 0.003  # two counts of a converter of 12 bits behind a divider of 3 at 3.3 V


def voltage(time_s, celsius, current_a):
    noise = np.random.default_rng(1).normal(0, NOISE_V, len(time_s))
    return 5.2 - RESISTANCE_OHM * current_a + 0.006 * (celsius - 20.0) - 0.08 * time_s / 3600 + noise


def flight_celsius(time_s):
    return 20.0 - 55.0 * np.sin(np.pi * np.clip(time_s / 9000.0, 0, 1)) ** 2


PLAN = Plan(burst_m=9000.0)


def made_case(logs=None, volts=None, extra=None):
    """A Case of a made flight with a battery; volts: function of time and degrees."""
    truth = truth_of(PLAN)
    logs = logs or [log_of(PLAN)]
    for log, first_s in zip(logs, extra or [0.0]):
        last_s = float(log.records["pressure"].tick_ms[-1]) / 1000 + first_s
        time_s = np.arange(first_s, last_s, 5.0)
        celsius = flight_celsius(3.0 * time_s)
        v = (volts or (lambda t, c: voltage(t, c, LOGGER_A)))(time_s, celsius)
        log.records["power"] = records_of(
            "power", np.rint((time_s - first_s) * 1000), battery_counts=np.rint(v / 3.0 / 3.3 * 65535),
            rail_counts=np.full(len(time_s), 32768), board_temperature_counts=np.rint((celsius - 36.53) * 340),
        )  # fmt: skip
    flight = decode_flight(logs)
    return build_case(flight, log_facts(flight)), truth


def test_the_statements_of_a_battery_cover_the_truth():
    case, truth = made_case()
    made = said.statements(case)
    time_s = np.arange(truth.launch_s, truth.landing_s)
    exact = voltage(time_s, flight_celsius(3.0 * time_s), LOGGER_A)
    assert abs(made["battery_lowest"]["value"] - exact.min()) <= made["battery_lowest"]["uncertainty"] < 0.15
    assert abs(made["battery_at_landing"]["value"] - exact[-1]) <= made["battery_at_landing"]["uncertainty"]
    assert abs(made["battery_cold"]["value"] - 0.006) <= made["battery_cold"]["uncertainty"] < 0.006
    assert abs(made["inside_temperature"]["value"] + 35.0) <= made["inside_temperature"]["uncertainty"]
    assert [made[key]["value"] for key in ("load_steps", "brown_outs")] == [0, 0]
    # The made flight's manifest names a motion sensor that never speaks, and its humidity is always the same.
    found = {row[0]: row[-1] for row in made["what_died"]["table"]["rows"]}
    assert found == {"motion sensor": "never heard", "humidity chip": "stands still"}


def test_voltages_that_are_none_are_no_collapse():
    time_s = np.arange(30.0)
    series = Series(time_s, {"rail_V": np.full(30, -3.3)}, np.ones(30, int), np.arange(30), "power.rail_V")
    assert _collapsed(series) == []
    low = series.with_value("rail_V", np.where(time_s < 26, 3.3, 1.0), series.source)
    assert _collapsed(low) == [("rail", 25.0, "collapsed")]


def test_garbled_voltages_move_nothing():
    def volts(time_s, celsius):
        garbled = np.random.default_rng(2).random(len(time_s)) < 0.05
        return np.where(garbled, 9.0, voltage(time_s, celsius, LOGGER_A))

    made = said.statements(made_case(volts=volts)[0])
    assert abs(made["battery_cold"]["value"] - 0.006) <= made["battery_cold"]["uncertainty"] < 0.006
    assert made["load_steps"]["value"] == 0


def test_what_fell_silent_is_named_with_its_time():
    log = keep(log_of(PLAN), "pressure", lambda t: t < 1300.0)
    whole = log.records["air"]
    values = whole.values.copy()
    values["temperature_counts"][whole.tick_ms > 1_000_000] = 22000  # it stands still from there on
    log.records["air"] = replace(whole, values=values)
    failed = records_of("event", [1_500_000], code=event_code("device failed"), subject=DEVICES.index("downlink"))
    log.records["event"] = failed
    case, _ = made_case([log], extra=[0.0])
    made = said.statements(case)["what_died"]
    found = {row[0]: (row[1], row[-1]) for row in made["table"]["rows"]}
    start_s = float(case.window.start_s)
    assert found["outside thermometer"][1] == "stands still"
    assert found["outside thermometer"][0] == pytest.approx(1000.0 - start_s, abs=5.0)
    assert found["downlink"][1] == "failed"
    assert "outside thermometer" in made["text"]


def test_resets_in_the_sag_are_counted_and_others_are_not():
    logs = [log_of(PLAN, last_s=900.0), log_of(PLAN, 905.0, 1700.0, 2), log_of(PLAN, 1705.0, boot=3)]

    def volts(time_s, celsius):
        return voltage(time_s, celsius, LOGGER_A + np.where((time_s > 1500) & (time_s < 1900), 2.0, 0.0))

    case, _ = made_case(logs, volts, [0.0, 905.0, 1705.0])
    made = said.statements(case)
    rows = made["brown_outs"]["table"]["rows"]
    assert [row[-1] for row in rows] == ["no", "yes"] and made["brown_outs"]["value"] == 1
    assert [row[1] for row in rows] == pytest.approx([5.0, 5.0], abs=1.5)
    assert [np.sign(row[2]) for row in made["load_steps"]["table"]["rows"]] == [-1, 1]


def test_without_a_battery_and_without_a_flight_there_are_reasons():
    log = log_of(PLAN)
    flight = decode_flight([log])
    made = said.statements(build_case(flight, log_facts(flight)))
    of_battery = ("battery", "battery_lowest", "battery_at_landing", "battery_cold", "load_steps")
    for key in (*of_battery, "inside_temperature"):
        assert made[key]["value"] is None and made[key]["reason"]
    bench = keep(log_of(PLAN), "pressure", lambda t: t < 100.0)
    only = boot_log({"pressure": bench.records["pressure"]})
    case, _ = made_case([only], extra=[0.0])
    made = said.statements(case)
    assert made["battery_at_landing"]["value"] is None and made["brown_outs"]["value"] is None


def test_a_battery_that_is_not_wired_up_or_a_converter_that_stands_still_has_no_voltage():
    for volts, why in ((0.02, "wired"), (4.8, "stood still")):
        case, _ = made_case(volts=lambda time_s, celsius, volts=volts: np.full(len(time_s), volts))
        made = said.statements(case)
        for key in ("battery", "battery_lowest", "battery_at_landing", "battery_cold", "load_steps", "brown_outs"):
            assert made[key]["value"] is None and why in made[key]["reason"]
        assert made["inside_temperature"]["value"] is not None


def test_the_texts_have_plurals_that_fit_and_no_braces_left():
    logs = [log_of(PLAN, last_s=900.0), log_of(PLAN, 905.0, boot=2)]
    case, _ = made_case(logs, extra=[0.0, 905.0])
    for statement in said.statements(case).values():
        assert "(s)" not in statement["text"] and "{" not in statement["text"] and "at at" not in statement["text"]
        assert "once in flight" in statement["text"] or statement["title"] != "Resets at a low voltage"
