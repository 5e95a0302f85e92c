"""A slice of the campaign of power cuts, and that its judge notices what it is for."""

import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

import tools.campaign_power as campaign  # noqa: E402
from tools.campaign import power_judge, power_scenes  # noqa: E402
from tools.campaign.power_card import ANY_SUBSET, AT_RISK, IN_ORDER, LAST_TORN, after_cut  # noqa: E402
from tools.campaign.power_judge import Life, boot_faults, newest_first, recovery_faults  # noqa: E402
from tools.campaign.power_machine import Machine, MachineError  # noqa: E402

SCENES = ("first boot", "waiting")
CUTS = 16


@pytest.fixture(scope="module")
def machine():
    return Machine()


@pytest.fixture(scope="module")
def disk(machine, tmp_path_factory):
    """A disk of the flight's first seconds, with two scenes."""
    folder = tmp_path_factory.mktemp("power") / "flight"
    flight, truth = power_scenes.make_flight(machine, folder, until_s=22)
    power_scenes.make_scenes(machine, flight, truth, SCENES)
    return power_scenes.Disk(flight, flight.folder)


@pytest.fixture
def lives(disk):
    """Two boots as the judge wants them, the first cut late; (lives, the card in the end)."""
    first, second = disk.flight.scenes
    base = second.base
    return [
        Life({}, 0, first.run.marks[-1][2], list(first.run.writes)),
        Life(base, 0, second.run.marks[-1][2], list(second.run.writes)),
    ], base | {write.sector: write.data for write in second.run.writes}


def test_whatever_the_instruction_the_next_boot_goes_on_and_everything_comes_back(machine, disk):
    verdicts = [campaign.run_case(seed, machine, disk, real=3) for seed in range(CUTS)]
    assert [(v.seed, v.what, v.failures) for v in verdicts if v.failures] == []
    counts = sum((verdict.counts for verdict in verdicts), Counter())
    assert counts["cuts"] == CUTS and counts["by fuel"] == (CUTS + 2) // 3
    assert counts["boots"] > CUTS and counts["lost"] > 3 and counts["blocks"] > 80
    assert 1000 < max(verdict.counts[campaign.LARGEST] for verdict in verdicts) <= power_judge.MISSING_MAX_MS


@pytest.mark.parametrize("more", [-4, -1, 0, 1, 1000])
def test_a_write_is_done_when_the_cut_comes_at_more_instructions_than_it(machine, disk, more):
    scene = disk.flight.scenes[0]
    fuel = scene.run.writes[2].fuel + more
    verdict = campaign.Verdict(0, scene.name)
    campaign._cut_really(verdict, scene, machine, disk, fuel, scene.run.writes[: 3 if more > 0 else 2])
    assert verdict.failures == []


def test_a_cut_that_leaves_other_writes_than_the_uncut_run_is_noticed(machine, disk):
    scene = disk.flight.scenes[0]
    write = scene.run.writes[1]
    verdict = campaign.Verdict(0, scene.name)
    done = [scene.run.writes[0], replace(write, data=write.data[::-1])]
    campaign._cut_really(verdict, scene, machine, disk, write.fuel + 1, done)
    assert len(verdict.failures) == 2


def test_the_judge_is_content_with_honest_boots(disk, lives, tmp_path):
    both, state = lives
    start = disk.flight.start
    assert [boot_faults(life, start) for life in both] == [[], []]
    assert recovery_faults(tmp_path / "log", both[1:], state, start) == ([], 0)


@pytest.mark.parametrize(
    "spoil, words",
    [
        (lambda life: life.before.update({life.writes[2].sector: life.writes[2].data}), "written over"),
        (lambda life: life.before.clear(), "boot [2] where it had to be 1"),
        (lambda life: setattr(life, "cut_tick", life.cut_tick + 2100), "ms before the cut are missing"),
        (lambda life: life.writes.pop(2), "without gaps"),
        (lambda life: life.writes.append(replace(life.writes[-1], sector=9999)), "a wrong place"),
    ],
)
def test_the_judge_notices_a_boot_that_goes_wrong(disk, lives, spoil, words):
    life = lives[0][1]
    life.before = dict(life.before)
    spoil(life)
    assert any(words in fault for fault in boot_faults(life, disk.flight.start))


def test_the_judge_notices_a_phase_that_the_card_does_not_say(disk, lives):
    life = lives[0][1]
    newest = max(life.before)
    other = bytearray(life.before[newest])
    other[28] = 2
    other[508:] = power_judge.zlib.crc32(other[:508]).to_bytes(4, "little")
    life.before = life.before | {newest: bytes(other)}
    faults = boot_faults(life, disk.flight.start)
    assert any("begins in phase 0, the card says 2" in fault for fault in faults)


def test_the_judge_notices_what_recovery_leaves_out_or_gives_twice(disk, lives, tmp_path, monkeypatch):
    both, state = lives
    start = disk.flight.start
    twice = state | {max(state) + 3: state[start]}
    faults, _ = recovery_faults(tmp_path / "log", both[1:], twice, start)
    assert any("two blocks" in fault for fault in faults)

    def forgetful(path, size):
        seen = real_read(path, size)
        max(seen.records["proven"].values(), key=Counter.total).popitem()
        return seen

    real_read = power_judge.read
    monkeypatch.setattr(power_judge, "read", forgetful)
    faults, _ = recovery_faults(tmp_path / "log", both[1:], state, start)
    assert len(faults) == 1 and "not those that were written" in faults[0]


def test_a_card_keeps_everything_but_its_last_writes(disk):
    scene = disk.flight.scenes[0]
    writes, there = scene.run.writes, {write.sector: write.data for write in scene.run.writes}
    assert after_cut(Random(1), {}, writes, IN_ORDER) == (there, [])
    state, lost = after_cut(Random(1), {}, writes, LAST_TORN)
    assert lost == writes[-1:] and state[lost[0].sector] != lost[0].data
    fates = Counter()
    for seed in range(40):
        state, lost = after_cut(Random(seed), {}, writes, ANY_SUBSET)
        assert all(state[write.sector] == write.data for write in writes[:-AT_RISK])
        fates.update(len(writes) - writes.index(write) for write in lost)
        newest = newest_first(state)
        assert len(newest) == len(writes) - len(lost)
    assert set(fates) == set(range(1, AT_RISK + 1))


def test_an_interpreter_that_ends_early_is_no_cut(machine, tmp_path):
    (tmp_path / "wrong.py").write_text("print('begun')\nraise OSError(5)\n", "utf-8")
    with pytest.raises(MachineError, match="OSError"):
        machine.run(["/staged/wrong.py"], {tmp_path: "/staged"})


def test_a_failed_cut_ends_the_campaign_with_its_seed(monkeypatch, capsys):
    verdict = campaign.Verdict(7, "climb", "cut at 5", Counter({campaign.LARGEST: 3}), ["a block is gone"])
    monkeypatch.setattr(campaign, "run", lambda *_: [verdict])
    assert campaign.main(["--cuts", "1"]) == 1
    assert "FAILED seed 7 (climb, cut at 5): a block is gone" in capsys.readouterr().out
