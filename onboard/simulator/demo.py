"""The demo: a whole flight on real MicroPython, a damaged card, and what the ground program makes of it."""

import json
import shutil
from pathlib import Path

from ground.errors import LoftbookError
from ground.mission import MissionError, load_mission
from onboard.simulator import steps
from onboard.simulator.compare import balance, compare, recovered_records
from onboard.simulator.damage import damage_card
from onboard.simulator.oracle import expected_records, parity_blocks
from onboard.simulator.prepare import CARD_NAME, prepare
from onboard.simulator.runners import RunError
from onboard.simulator.steps import RECOVERED
from onboard.simulator.truth_file import write_truth
from onboard.simulator.world.integrate import FlightError
from onboard.simulator.world.sounding import SoundingError

DEMO_MISSION = Path(__file__).with_name("napraforgo-1.toml")

_READ_ME = """\
The folder of `loftbook demo`. The club, the payload and the flight are invented; the air is a real sounding.

mission.toml           the payload
card-before.img        the card as the logger left it
card.img               the same card after the damage: what the team would find
damage.json            what was done to it
truth.csv, truth.json  what really happened, from the simulator; truth-air.csv: the air that it flew through
recovered/             what `loftbook recover card.img -o recovered` made of it: begin with summary.txt
recovered/report.html  what `loftbook report recovered --mission mission.toml` made of that: open it in a browser
"""


def run_demo(folder, seed, interpreter, say=print):
    """Fly, damage, recover and compare, into a folder that does not exist yet.

    folder: Path; seed: of everything that is random; interpreter: "unix", "wasm" or "cpython"; say: takes each
    line of output. The folder appears when all is done.
    Raises LoftbookError if the folder exists or a step fails.
    """
    try:
        with steps.new_folder(folder) as (scratch, result):
            _fill(scratch, result, seed, interpreter, say)
    except (MissionError, SoundingError, FlightError, RunError) as error:
        raise LoftbookError(str(error)) from None
    say(f"Everything is in {folder}/: open README.txt there first.")


def _fill(scratch, result, seed, interpreter, say):
    mission = load_mission(DEMO_MISSION)
    say(f"Flying {mission.payload.name} (invented) through a real sounding, {mission.sounding}.")
    truth = prepare(mission, seed, scratch / "flight")
    write_truth(result, truth, mission, seed)
    steps.fly(scratch / "flight", scratch / "staged", interpreter)
    before = (scratch / "flight" / CARD_NAME).read_bytes()
    image = bytearray(before)
    damage = damage_card(image, seed)
    (result / "card-before.img").write_bytes(before)
    (result / CARD_NAME).write_bytes(image)
    (result / "damage.json").write_text(json.dumps(described(damage), indent=1), "utf-8")
    (result / "README.txt").write_text(_READ_ME, "utf-8")
    shutil.copy(DEMO_MISSION, result / "mission.toml")
    say(
        f"The card came back with its last write torn, {len(damage.flipped_bits)} bits flipped, "
        f"{len(damage.wiped)} sectors wiped"
    )
    say("and the file system's tables zeroed. Recovering it:")
    say("")
    for line in steps.recover(result, CARD_NAME):
        say("  " + line if line else "")
    for line in steps.report(result, "mission.toml"):
        say("  " + line)
    say("")
    _report(result, before, damage, say)


def described(damage):
    """What was done to a card, as a dict for JSON."""
    return {
        "flipped_bits": [{"offset": offset, "bit": bit} for offset, bit in damage.flipped_bits],
        "wiped_sectors": damage.wiped,
        "torn_block": damage.torn,
        "zeroed_from_the_start": damage.zeroed,
        "blocks_written": len(damage.blocks_written),
        "blocks_no_longer_whole": len(damage.blocks_hit),
    }


def _report(result, before, damage, say):
    figures = json.loads((result / "truth.json").read_text("utf-8"))
    summary = json.loads((result / RECOVERED / "summary.json").read_text("utf-8"))
    say("Truth (simulator)                     truth   recovered  difference")
    for line in compare(figures, summary):
        values = (line.truth, line.stated, line.difference)
        numbers = [f"{round(value, line.digits) + 0.0:.{line.digits}f}" for value in values]  # no "-0.0"
        label = f"{line.what} [{line.unit}]"
        say(f"  {label:<29}{numbers[0]:>12}{numbers[1]:>12}{numbers[2]:>12}")
    say("")
    intact = [at for at in damage.blocks_written if at not in damage.blocks_hit]
    books = balance(
        expected_records(before, intact), expected_records(before, damage.blocks_written),
        recovered_records(result / RECOVERED),
    )
    parity = parity_blocks(before, damage.blocks_written)
    say(
        f"Blocks written {len(damage.blocks_written)}, of them {parity} of parity; still whole {len(intact)}, "
        f"hit {len(damage.blocks_hit)}."
    )
    say(f"Records in whole blocks {books['whole']}, missed {books['missed']}.")
    say(f"Records in blocks that were hit {books['hit']}, rebuilt or repaired {books['more']}.")
    say(f"Records that were never written {books['invented']}.")
    say("")
    _losses(json.loads((result / RECOVERED / "ledger.json").read_text("utf-8")), say)


def _losses(ledger, say):
    say("What the ledger says was lost:")
    for reason in sorted({loss["reason"] for loss in ledger["losses"]}):
        losses = [loss for loss in ledger["losses"] if loss["reason"] == reason]
        blocks = sum(loss["last_number"] - loss["first_number"] + 1 for loss in losses)
        gaps = [
            (loss["tick_after_ms"] - loss["tick_before_ms"]) / 1000
            for loss in losses
            if loss["tick_after_ms"] is not None and loss["tick_before_ms"] is not None
        ]
        longest = f"; longest stretch between whole blocks {max(gaps):.0f} s" if gaps else ""
        say(f"  {blocks:4} {reason}{longest}")
