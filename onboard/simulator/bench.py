"""`loftbook simulate --deployed`: run what `loftbook deploy --to-folder` made, and look at the card."""

import json
import shutil
from pathlib import Path

from ground.errors import LoftbookError
from ground.mission import MissionError, load_mission
from ground.mission.board import board_settings
from onboard.firmware.settings import FILE_NAME, Settings
from onboard.simulator import steps
from onboard.simulator.board.modem import DOWNLINK_NAME
from onboard.simulator.card_manifest import manifest_words
from onboard.simulator.deployed import run_deployed, stage_machine
from onboard.simulator.prepare import CARD_NAME, prepare
from onboard.simulator.runners import RunError
from onboard.simulator.world.integrate import FlightError
from onboard.simulator.world.sounding import SoundingError

MINUTES = 5  # with the launch after 3, see prepare()
_LAST_LINES = 6  # of the console
_PARTS = ("main.py", FILE_NAME, "lib")  # what a deployed folder holds

_READ_ME = """\
The folder of `loftbook simulate --deployed`: what deploy made, run unchanged on MicroPython.

mission.toml   the payload
console.txt    what the board said on its console
card.img       the card as the logger left it when the power went off
downlink.bin   what the downlink sent, if the mission has one
recovered/     what `loftbook recover card.img -o recovered` made of it: begin with summary.txt
report.txt     what the card holds, beside what was deployed
"""


def run_bench(mission_path, deployed, folder, minutes, seed, interpreter, say=print):
    """Give power to a deployed folder and recover the card, into a folder that does not exist yet.

    mission_path: of a mission.toml. deployed: Path of what loftbook deploy made of it, only read.
    folder: Path. minutes: of simulated time until the power goes off, or the whole flight if that is shorter.
    seed, say: as for run_demo. interpreter: "unix" or "wasm". The folder appears when all is done.
    Raises LoftbookError if the deployed folder is not whole or not of this mission, or if a step fails.
    """
    try:
        mission = load_mission(mission_path)
        settings = check_deployed(deployed, mission, mission_path)
        with steps.new_folder(folder) as (scratch, result):
            report = []

            def tell(line=""):
                report.append(line)
                say(line)

            flight = scratch / "flight"
            truth = prepare(mission, seed, flight, mission_folder=Path(mission_path).absolute().parent)
            seconds = min(minutes * 60, int(truth.time_s[-1]))
            tell(f"Running {deployed}: {settings.payload}, flight {settings.flight.hex()},")
            tell(
                f"{_minutes(seconds)} of {_minutes(truth.time_s[-1])} min from power-on; "
                f"the launch is after {_minutes(truth.release.time_s)} min."
            )
            console = _run(deployed, flight, scratch / "staged", seconds, interpreter)
            _keep(flight, mission_path, console, result)
            tell()
            tell("The console's last lines:")
            for line in console[-_LAST_LINES:]:
                tell("  " + line)
            tell()
            tell("The card, recovered by `loftbook recover`:")
            for line in card_lines(result, settings, deployed):
                tell("  " + line)
            (result / "report.txt").write_text("\n".join(report) + "\n", "utf-8")
    except (MissionError, SoundingError, FlightError, RunError) as error:
        raise LoftbookError(str(error)) from None
    say()
    say(f"Everything is in {folder}/: open README.txt there first.")


def check_deployed(deployed, mission, mission_path):
    """The Settings of a deployed folder. Raises LoftbookError if it is not whole, or of another mission."""
    again = f"loftbook deploy {mission_path} --to-folder FOLDER"
    if not deployed.exists():
        raise LoftbookError(f"{deployed}: no such folder; make it with {again}")
    if not deployed.is_dir():
        raise LoftbookError(f"{deployed}: is no folder; name one that was made with {again}")
    for name in _PARTS:
        if not (deployed / name).exists():
            raise LoftbookError(f"{deployed}: there is no {name} in it; name one that was made with {again}")
    try:
        text = (deployed / FILE_NAME).read_text("utf-8")
        settings = Settings(text)
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        message = f"{deployed / FILE_NAME}: the board would refuse it: {error!r}; deploy again: {again}"
        raise LoftbookError(message) from None
    there = json.loads(text)
    wanted = json.loads(json.dumps(board_settings(mission, settings.flight)))
    differing = sorted(key for key in {*there, *wanted} if there.get(key) != wanted.get(key))
    if differing:
        raise LoftbookError(
            f"{deployed / FILE_NAME}: not made from {mission_path} as it is now ({', '.join(differing)}); "
            f"deploy again: {again}"
        )
    return settings


def _minutes(seconds):
    return f"{seconds / 60:.0f}"


def _run(deployed, flight, staged, seconds, interpreter):
    # Returns the lines of the console.
    stage_machine(staged)
    with steps.progress_bar("Running", interpreter, seconds) as show:
        lines = run_deployed(deployed, flight, staged, seconds, interpreter, progress=show)
    console, end = lines[:-1], lines[-1]
    if end != "done":
        said = [line for line in console if line.startswith("loftbook: ")] or console or ["no words"]
        raise LoftbookError(f"{deployed}: {end}; the console's last words are '{said[-1]}'; deploy again")
    return console


def _keep(flight, mission_path, console, result):
    shutil.copy(flight / CARD_NAME, result)
    shutil.copy(mission_path, result / "mission.toml")
    if (flight / DOWNLINK_NAME).exists():
        shutil.copy(flight / DOWNLINK_NAME, result)
    (result / "console.txt").write_text("".join(line + "\n" for line in console), "utf-8")
    (result / "README.txt").write_text(_READ_ME, "utf-8")
    steps.recover(result, CARD_NAME)


def card_lines(result, settings, deployed):
    """What the card holds, beside what was deployed.

    result: Path with the card and its recovery; settings: Settings of the deployed folder.
    """
    summary = json.loads((result / steps.RECOVERED / "summary.json").read_text("utf-8"))
    ledger = json.loads((result / steps.RECOVERED / "ledger.json").read_text("utf-8"))
    whole = [(each["offset"], each["length"]) for each in ledger["ranges"] if each["state"] == "block"]
    manifest = manifest_words((result / CARD_NAME).read_bytes(), whole)
    evidence = ledger["evidence"]
    return [
        f"payload        {_beside(summary['payload'], settings.payload, deployed)}",
        f"flight         {_beside(summary['flight'], settings.flight.hex(), deployed)}",
        f"configuration  {_beside(manifest.get('configuration'), settings.hash, deployed)}",
        f"boots          {summary['statements']['boots']['value']}",
        f"blocks         {sum(evidence['blocks'].values())}, {evidence['blocks']['proven']} of them whole",
        f"records        {sum(evidence['records'].values())}",
        f"lost           {_losses(ledger['losses'])}",
    ]


def _beside(found, wanted, deployed):
    if found == wanted:
        return f"{found}, the same as in {deployed}"
    return f"{found or 'not found'}, DIFFERS from {wanted} in {deployed}"


def _losses(losses):
    counts = {}
    for loss in losses:
        blocks = loss["last_number"] - loss["first_number"] + 1
        counts[loss["reason"]] = counts.get(loss["reason"], 0) + blocks
    return "; ".join(f"{count} blocks: {reason}" for reason, count in sorted(counts.items())) or "nothing"
