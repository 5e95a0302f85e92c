"""A small slice of the campaign of statements: one short flight, its truth, and a truth that is not."""

import json
from dataclasses import replace

import numpy as np
import pytest

from ground.physics.geodesy import distance_m
from ground.tracks import read_track
from onboard.simulator import runners
from protocol.block import BLOCK_SIZE
from tools import campaign_statements
from tools.campaign.statement_flights import Scenario, fly_scenario, lose_blocks, scenarios
from tools.campaign.statement_judge import CANNOT_TELL, COVERED, NO_TRUTH, NOT_COVERED, judge
from tools.campaign.statement_lost import read_kept
from tools.campaign.statement_others import HEARD, HEARD_TIMES, TRACKER, hear, read_times, write_tracker
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
    for key in ("launch", "landing", "greatest_height", "resets_in_flight", "boots", "data_recovered", "clock_error"):
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


def test_of_wiped_blocks_parity_brings_back_one_a_group(base, tmp_path):
    # FORMAT.md, "Parity": the member k of the parity sector at place p is start of the stripe + p % depth + depth k.
    from onboard.simulator.damage import block_offsets

    whole = (base / "short" / "card.img").read_bytes()
    path, written = tmp_path / "card.img", block_offsets(whole)
    for wiped, lost in (((5,), 0), ((5, 21), 2), ((5, 6, 22), 2)):  # 5 and 21 are of one group: 16 apart
        image = bytearray(whole)
        for index in wiped:
            image[written[index] : written[index] + BLOCK_SIZE] = b"\xff" * BLOCK_SIZE
        path.write_bytes(image)
        kept = read_kept(path)
        assert (~kept.there).sum() == lost
        assert kept.share() == pytest.approx(1.0 - lost / len(kept.there))
    # A block is closed at the latest 1.9 s after its first record, so one that is missing leaves a gap like that.
    assert 1.0 < kept.longest_gap_s(0.0, 1e9) < 4.0


@pytest.fixture
def path_folder(tmp_path):
    """A truth that climbs 10 m/s for 1500 s and falls as fast."""
    names = "seconds_since_power_on,latitude_deg,longitude_deg,height_m"
    rows = [f"{s},47.0,{19.0 + s * 1e-4:.6f},{10.0 * min(s, 3000 - s):.1f}" for s in range(3001)]
    (tmp_path / "truth.csv").write_text("\n".join([names, *rows]) + "\n", "utf-8")
    figures = {"climb_end": {"time_s": 1500.0}, "start_utc": "2026-11-21T09:27:00+00:00"}
    (tmp_path / "truth.json").write_text(json.dumps(figures), "utf-8")
    return tmp_path


def test_a_listener_loses_what_chance_and_the_ground_take(path_folder):
    times_ms = range(0, 3_000_000, 10_000)
    (path_folder / "downlink.bin").write_bytes(bytes(40 * len(times_ms)))
    lines = [f"{t + more} {40 * i + start} 20" for i, t in enumerate(times_ms) for more, start in ((0, 0), (30, 20))]
    (path_folder / "downlink.txt").write_text("\n".join(lines) + "\n", "utf-8")
    hear(path_folder, replace(SHORT, link={"lost": 0.2, "hidden_below_m": 1500.0}))
    times_s = read_times(path_folder / HEARD_TIMES)
    assert len((path_folder / HEARD).read_bytes()) == 40 * len(times_s)  # both halves of each, or none
    assert 0.7 < len(times_s) / 285 < 0.9 and times_s.max() <= 2850.0


def test_a_tracker_falls_silent_and_comes_back(path_folder):
    wanted = {"period_s": 60.0, "noise_m": 8.0, "ceiling_m": 12_000.0, "back_below_m": 10_500.0}
    write_tracker(path_folder, replace(SHORT, tracker=wanted))
    track = read_track(path_folder / TRACKER)
    seconds = (track.time_utc - np.datetime64("2026-11-21T09:27:00")) / np.timedelta64(1, "s")
    assert seconds.min() == 20.0 and not ((seconds > 1200.0) & (seconds < 1950.0)).any() and len(seconds) > 30
    off_m = distance_m(track.latitude_deg, track.longitude_deg, 47.0, 19.0 + seconds * 1e-4)
    # Rayleigh's distribution: the median is sigma sqrt(2 ln 2).
    assert np.median(off_m) == pytest.approx(8.0 * 1.1774, rel=0.35)


def test_counts_must_be_exact_and_reasons_are_told_once(capsys):
    world = type("World", (), {"faults": lambda self, kind, target=None: []})()
    assert judge(world, made(id="boots", value=1)).state == COVERED
    assert judge(world, made(id="boots", value=2)).state == NOT_COVERED
    why = [judge(world, made(reason=f"up to {top} km, where data end", confidence="cannot tell")) for top in (9, 11.5)]
    campaign_statements.reasons({"one": {"jet": why[0]}, "two": {"jet": why[1]}, "three": {}})
    assert "jet: up to 9 km, where data end (one, two)" in capsys.readouterr().out


def test_there_are_ordinary_and_odd_scenarios_each_once():
    known = scenarios()
    assert len(known) >= 16
    soundings = {scenario.mission.get("sounding") for scenario in known.values()}
    assert len(soundings) >= 6
    assert sum(bool(scenario.mishaps) for scenario in known.values()) >= 6
