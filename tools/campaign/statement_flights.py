"""The scenarios of campaign_statements.py, and how each is flown and recovered."""

import json
import shutil
import subprocess
import sys
import tomllib
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from ground.errors import LoftbookError
from ground.library import load_flight
from ground.mission import load_mission
from onboard.simulator import runners, steps
from onboard.simulator.board.modem import DOWNLINK_NAME, TIMES_NAME
from onboard.simulator.damage import block_offsets
from onboard.simulator.fault_words import schedule
from onboard.simulator.mishap_words import read_mishaps
from onboard.simulator.prepare import CARD_NAME, add_faults, prepare
from onboard.simulator.simulate import ordered
from onboard.simulator.truth_file import write_truth
from onboard.simulator.world.flight import fly
from protocol.block import BLOCK_SIZE
from tools.campaign.statement_box import BOX, box_truth
from tools.campaign.statement_others import HEARD, TRACKER, hear, write_tracker

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "onboard" / "simulator" / "napraforgo-1.toml"
SOUNDINGS = ROOT / "tests" / "data" / "soundings"
_SCENARIOS = Path(__file__).with_name("statement_scenarios.toml")
_RUNS = 10  # in which blocks are lost


@dataclass(frozen=True)
class Scenario:
    """name: one word; line: what is special, for a reader; mission: changes of the demo's mission, as in its file;
    mishaps, faults: orders in words; lost: shares of the blocks that are lost, in_runs and scattered; link, tracker:
    how the downlink is heard, and a tracker that flies along, see statement_others.py.
    """

    name: str
    line: str
    seed: int
    mission: dict = field(default_factory=dict)
    mishaps: tuple = ()
    faults: tuple = ()
    lost: dict = field(default_factory=dict)
    link: dict = field(default_factory=dict)
    tracker: dict = field(default_factory=dict)


def scenarios():
    """All scenarios, name -> Scenario, in the order of their file."""
    content = tomllib.loads(_SCENARIOS.read_text("utf-8"))
    return {item["name"]: Scenario(**item) for item in content["scenario"]}


def fly_scenario(scenario, folder, staged, run=runners.run_on_unix, **waits):
    """Fly a scenario and recover its card, into a folder that does not exist yet.

    folder: Path; it gets mission.toml (and the sounding if that does not ship), truth.csv, truth.json, card.img, what
    was heard of a downlink, what a tracker reported, and recovered/. staged: Path made by runners.stage(). run: takes
    a prepared folder and staged. waits: as for prepare().
    """
    scratch = folder.with_name(f".{folder.name}-flying")
    shutil.rmtree(scratch, ignore_errors=True)
    result = scratch / "result"
    result.mkdir(parents=True)
    try:
        mission = load_mission(write_mission(scenario, result))
        mishaps = read_mishaps(scenario.mishaps)
        truth = prepare(mission, scenario.seed, scratch / "flight", mission_folder=result, mishaps=mishaps, **waits)
        faults, _ = ordered(mission, truth, scenario.faults, None)
        add_faults(scratch / "flight", schedule(faults, mission, truth))
        _write_truths(result, truth, mission, scenario, faults)
        run(scratch / "flight", staged)
        image = bytearray((scratch / "flight" / CARD_NAME).read_bytes())
        lose_blocks(image, scenario.lost, scenario.seed)
        (result / CARD_NAME).write_bytes(image)
        if scenario.link:
            for name in (DOWNLINK_NAME, TIMES_NAME):
                shutil.copy(scratch / "flight" / name, result)
        _recover(scenario, result)
        result.rename(folder)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def renew(scenario, folder):
    """Write the truth of a kept folder anew and recover its card once more, with the programs as they are now."""
    mission = load_mission(folder / "mission.toml")
    truth = fly(mission, scenario.seed, folder=folder, mishaps=read_mishaps(scenario.mishaps))
    faults, _ = ordered(mission, truth, scenario.faults, None)
    _write_truths(folder, truth, mission, scenario, faults)
    shutil.rmtree(folder / steps.RECOVERED, ignore_errors=True)
    _recover(scenario, folder)


def load(folder):
    """The RecordedFlight of a kept folder (Path), with its mission and what a tracker reported."""
    trackers = [folder / TRACKER] if (folder / TRACKER).is_file() else []
    return load_flight(folder / steps.RECOVERED, mission=folder / "mission.toml", trackers=trackers)


def _write_truths(folder, truth, mission, scenario, faults):
    write_truth(folder, truth, mission, scenario.seed)
    (folder / "faults.json").write_text(json.dumps([vars(fault) for fault in faults], indent=1), "utf-8")
    felt = box_truth(truth, mission, scenario.seed)
    (folder / BOX).write_text(json.dumps(felt, indent=1), "utf-8")
    if scenario.tracker:
        write_tracker(folder, scenario)


def _recover(scenario, folder):
    """Recover the card, and with it what was heard of the downlink."""
    if not scenario.link:
        steps.recover(folder, CARD_NAME)
        return
    hear(folder, scenario)
    words = ("recover", CARD_NAME, HEARD, "-o", steps.RECOVERED)
    done = subprocess.run([sys.executable, "-m", "ground", *words], cwd=folder, capture_output=True, text=True, check=False)
    if done.returncode not in (0, steps.WITH_LOSSES):
        raise LoftbookError(f"loftbook recover failed: {done.stderr.strip()}")


def write_mission(scenario, folder):
    """Write mission.toml, and the sounding beside it if it is one of the tests' own. Returns the path."""
    content = _merged(tomllib.loads(DEMO.read_text("utf-8")), scenario.mission)
    if (SOUNDINGS / content["sounding"]).is_file():
        shutil.copy(SOUNDINGS / content["sounding"], folder)
    lines = [f"# {scenario.line}"]
    lines += [f"{key} = {_toml(value)}" for key, value in content.items() if not isinstance(value, dict)]
    for section, keys in content.items():
        if isinstance(keys, dict):
            lines += ["", f"[{section}]", *(f"{key} = {_toml(value)}" for key, value in keys.items())]
    path = folder / "mission.toml"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


def _merged(base, changes):
    merged = dict(base)
    for key, value in changes.items():
        merged[key] = _merged(base.get(key, {}), value) if isinstance(value, dict) else value
    return merged


def _toml(value):
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return f'"{value}"' if isinstance(value, str) else repr(value).lower()


def lose_blocks(image, lost, seed):
    """Wipe blocks of a card image (bytearray) in place, parity blocks too.

    lost: shares of the written blocks: in_runs (so many runs of neighbours) and scattered (one by one, of all).
    """
    if not lost:
        return
    written = block_offsets(image)
    random = np.random.default_rng([seed, 7])
    length = int(lost.get("in_runs", 0.0) * len(written) / _RUNS)
    starts = random.choice(len(written) - length, _RUNS, replace=False)
    gone = {int(start) + i for start in starts for i in range(length)}
    scattered = random.choice(len(written), int(lost.get("scattered", 0.0) * len(written)), replace=False)
    for index in gone.union(scattered.tolist()):
        image[written[index] : written[index] + BLOCK_SIZE] = b"\xff" * BLOCK_SIZE
