"""A small slice of the campaign of statements: one short flight, its truth, and a truth that is not."""

import json
from dataclasses import replace

import pytest

from onboard.simulator import runners
from tools import campaign_statements
from tools.campaign.statement_flights import Scenario, fly_scenario, lose_blocks, scenarios
from tools.campaign.statement_judge import CANNOT_TELL, COVERED, NO_TRUTH, NOT_COVERED, judge
from tools.campaign.statement_truth import TRUTHS, Part
from tools.campaign.statement_words import canopy, climb_end

SHORT = Scenario(
    "short", "A burst at some 3 km.", 3, mission={"balloon": {"burst_diameter_m": 1.9}},
    faults=("reset board fall+60 fall+62",),
)  # fmt: skip


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    base = tmp_path_factory.mktemp("flights")
    runners.stage(base / "staged")
    fly_scenario(SHORT, base / "short", base / "staged", wait_s=90.0, after_s=120.0)
    return base


@pytest.fixture
def short(base, monkeypatch):
    monkeypatch.setattr(campaign_statements, "scenarios", lambda: {"short": SHORT})
    return base


def test_a_flight_is_judged_against_its_truth_and_not_against_another(short, capsys):
    name, verdicts, why = campaign_statements.run(("short", short, None, False))
    assert (name, why) == ("short", "")
    for key in ("launch", "landing", "greatest_height", "resets_in_flight"):
        assert verdicts[key].state == COVERED, (key, verdicts[key].why)
    assert verdicts["tropopause"].state == CANNOT_TELL  # none is as low as this flight's top
    assert campaign_statements.main(["--reuse", str(short)]) in (0, 1)
    assert "greatest_height         o" in capsys.readouterr().out
    path = short / "short" / "truth.json"
    true = path.read_text("utf-8")
    figures = json.loads(true)
    figures["greatest_height_m"] += 300.0
    path.write_text(json.dumps(figures), "utf-8")
    try:
        _, verdicts, _ = campaign_statements.run(("short", short, None, False))
    finally:
        path.write_text(true, "utf-8")
    assert verdicts["greatest_height"].state == NOT_COVERED and "off by" in verdicts["greatest_height"].why


def test_too_few_covered_statements_and_failed_flights_end_with_1(short, monkeypatch, capsys):
    monkeypatch.setitem(TRUTHS, "launch", lambda world, statement: [Part("time", 9.0, 1.0, 1.0)])
    monkeypatch.setattr(campaign_statements, "TARGET", 1.0)
    assert campaign_statements.main(["--reuse", str(short)]) == 1
    assert "launch in short 9.0 uncertainties" in capsys.readouterr().out
    (short / "lost").mkdir()
    monkeypatch.setattr(campaign_statements, "scenarios", lambda: {"lost": replace(SHORT, name="lost")})
    assert campaign_statements.main(["--reuse", str(short)]) == 1
    assert "FAILED lost: LoftbookError" in capsys.readouterr().out


def made(**keys):
    statement = dict.fromkeys(("value", "uncertainty", "reason", "table", "utc", "text"))
    return {**statement, "id": "greatest_height", "confidence": "high", **keys}


class HighWorld:
    figures = {"greatest_height_m": 30000.0, "climb_ended_by": "burst"}


@pytest.mark.parametrize("keys, state", [
    ({"value": 30010.0, "uncertainty": 10.0}, COVERED),
    ({"value": 29989.0, "uncertainty": 10.0}, NOT_COVERED),
    ({"reason": "no fix", "confidence": "cannot tell"}, CANNOT_TELL),
    ({"value": 1.0, "uncertainty": 1.0, "id": "of_tomorrow"}, NO_TRUTH),
])  # fmt: skip
def test_a_statement_is_covered_if_the_truth_is_within_its_uncertainty(keys, state):
    assert judge(HighWorld, made(**keys)).state == state


@pytest.mark.parametrize("ended, text, right", [
    ("burst", "The balloon burst, or it was cut loose.", True),
    ("leak", "The balloon burst at 12 000 m.", False),
    ("leak", "It sank slowly, as under a balloon that leaks.", True),
])  # fmt: skip
def test_words_are_held_against_the_truth(ended, text, right):
    world = type("World", (), {"figures": {"flight": {"climb_ended_by": ended, "float": None}}})
    assert climb_end(world, text) is right


def test_a_tangled_canopy_must_not_be_called_good():
    flight = {"climb_ended_by": "burst", "canopy": {"share": 0.25, "opens_m": None}}
    world = type("World", (), {"figures": {"flight": flight}})
    assert not canopy(world, "Good: its drag area was 100 % of what was planned.")
    assert canopy(world, "Tangled or closed: 25 % of what was planned.")


def test_half_of_the_blocks_are_lost(base):
    image = bytearray((base / "short" / "card.img").read_bytes())
    from onboard.simulator.damage import block_offsets

    written = block_offsets(image)
    lose_blocks(image, {"in_runs": 0.2, "scattered": 0.3}, 1)
    left = len(block_offsets(image)) / len(written)
    assert 0.45 < left < 0.75  # the two kinds may hit the same block


def test_there_are_ordinary_and_odd_scenarios_each_once():
    known = scenarios()
    assert len(known) >= 16
    soundings = {scenario.mission.get("sounding") for scenario in known.values()}
    assert len(soundings) >= 6
    assert sum(bool(scenario.mishaps) for scenario in known.values()) >= 6
