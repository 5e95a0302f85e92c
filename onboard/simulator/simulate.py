"""`loftbook simulate`: fly a mission with things going wrong, recover its card, and tell what came of it."""

import json
import shutil
from pathlib import Path

from ground.errors import LoftbookError
from ground.mission import MissionError, load_mission
from onboard.simulator import steps
from onboard.simulator.board.modem import DOWNLINK_NAME
from onboard.simulator.compare import compare
from onboard.simulator.damage import damage_card
from onboard.simulator.fault_words import FaultError, read_fault, schedule, targets_of
from onboard.simulator.mishap_words import MishapError, read_mishaps
from onboard.simulator.prepare import CARD_NAME, add_faults, prepare
from onboard.simulator.runners import RunError
from onboard.simulator.tell import event_lines, loss_lines, number_lines, since_launch
from onboard.simulator.truth_file import write_truth
from onboard.simulator.world.integrate import FlightError
from onboard.simulator.world.sounding import SoundingError
from protocol.record import Layout

_READ_ME = """\
The folder of `loftbook simulate`: a flight of the logger's own code on simulated hardware.

mission.toml           the payload
faults.json            what was made to go wrong, in ms since power-on
card.img               the card as the team would find it
truth.csv, truth.json  what really happened, from the simulator; truth-air.csv: the air that it flew through
downlink.bin           what the downlink sent, if the mission has one
recovered/             what `loftbook recover card.img -o recovered` made of it: begin with summary.txt
report.txt             what was injected, what the log says about it, what was lost, and what is still true
"""
_CLOSE_S = 1.9  # a block is closed at this age (firmware/store.py)
_BLOCK_BYTES = 440  # what it takes in, about


def run_simulation(mission_path, folder, orders, rehearsal, seed, interpreter, say=print, mishaps=()):
    """Fly, recover and tell, into a folder that does not exist yet.

    mission_path: of a mission.toml. folder: Path. orders: list of faults in words, all of which must be possible.
    rehearsal: a Rehearsal or None; what of it this flight is too short for, or this payload lacks, is left out and
    said. seed, interpreter, say: as for run_demo. mishaps: list of mishaps in words, besides the rehearsal's; all
    must be possible. The folder appears when all is done.
    Raises LoftbookError if a step fails.
    """
    try:
        mission = load_mission(mission_path)
        with steps.new_folder(folder) as (scratch, result):
            world = [*mishaps, *(rehearsal.mishaps if rehearsal else ())]
            _fill(mission, Path(mission_path), scratch, result, orders, world, rehearsal, seed, interpreter, say)
    except (MissionError, SoundingError, FlightError, FaultError, MishapError, RunError) as error:
        raise LoftbookError(str(error)) from None
    say(f"Everything is in {folder}/: open README.txt there first.")


def _fill(mission, path, scratch, result, orders, mishaps, rehearsal, seed, interpreter, say):
    report = []

    def tell(line=""):
        report.append(line)
        say(line)

    flight = scratch / "flight"
    truth = prepare(
        mission, seed, flight, mission_folder=path.absolute().parent, mishaps=read_mishaps(mishaps)
    )
    faults, left_out = ordered(mission, truth, orders, rehearsal)
    add_faults(flight, schedule(faults, mission, truth), _log_blocks(faults, mission))
    write_truth(result, truth, mission, seed)
    counted = f"{len(faults)} faults" + (f", {len(mishaps)} mishaps." if mishaps else ".")
    tell(f"Flying {mission.payload.name}: {rehearsal.line if rehearsal else counted}")
    steps.fly(flight, scratch / "staged", interpreter)
    image = bytearray((flight / CARD_NAME).read_bytes())
    if any(fault.kind == "damaged" for fault in faults):
        try:
            damage_card(image, seed)
        except ValueError as error:
            raise LoftbookError(f"the card cannot be damaged: {error}") from None
    (result / CARD_NAME).write_bytes(image)
    (result / "faults.json").write_text(json.dumps([vars(fault) for fault in faults], indent=1), "utf-8")
    (result / "README.txt").write_text(_READ_ME, "utf-8")
    shutil.copy(path, result / "mission.toml")
    if (flight / DOWNLINK_NAME).exists():
        shutil.copy(flight / DOWNLINK_NAME, result)
    steps.recover(result, CARD_NAME)
    _report(result, truth, mission, faults, mishaps, left_out, tell)
    (result / "report.txt").write_text("\n".join(report) + "\n", "utf-8")


def ordered(mission, truth, orders, rehearsal):
    """The faults of the orders and of a rehearsal: (list of Fault, list of lines on what was left out).

    Raises FaultError for an order that is not possible.
    """
    targets = targets_of(mission)
    faults = [read_fault(order, truth, targets) for order in orders]
    left_out = []
    for order in rehearsal.faults if rehearsal else ():
        try:
            faults.append(read_fault(order, truth, targets))
        except FaultError as error:
            left_out.append(str(error))
    return sorted(faults, key=lambda fault: fault.start_ms), left_out


def _log_blocks(faults, mission):
    # How large the log file is if it has to be full in flight. An estimate: blocks are closed full or at an age.
    full = [fault for fault in faults if fault.kind == "full"]
    if not full:
        return None
    rates = vars(mission.rates)
    bytes_a_second = Layout("fix").size + sum(
        Layout(kind).size * 1000 / rates[f"{kind}_ms"] for kind in ("pressure", "air", "motion", "power", "health")
    )
    blocks_a_second = max(bytes_a_second / _BLOCK_BYTES, 1 / _CLOSE_S)
    if mission.parity.depth:
        blocks_a_second *= 1 + 1 / mission.parity.rate
    return max(64, round(full[0].start_ms / 1000 * blocks_a_second))


def _report(result, truth, mission, faults, mishaps, left_out, tell):
    recovered = result / steps.RECOVERED
    summary = json.loads((recovered / "summary.json").read_text("utf-8"))
    ledger = json.loads((recovered / "ledger.json").read_text("utf-8"))
    figures = json.loads((result / "truth.json").read_text("utf-8"))
    launch_ms = round(truth.release.time_s * 1000)
    tell()
    tell("What was made to go wrong (hours:minutes:seconds since launch):")
    for fault in faults:
        until = "" if fault.kind in ("full", "damaged") else f" to {since_launch(fault.stop_ms - launch_ms)}"
        tell(f"  {since_launch(fault.start_ms - launch_ms)}{until}  {fault.words()}")
    for text in mishaps:
        tell(f"  to the balloon and the payload: {text}")
    for line in left_out:
        tell(f"  left out: {line}")
    if not faults and not mishaps:
        tell("  nothing")
    tell()
    tell("What the log says about it:")
    for line in event_lines(recovered, figures):
        tell("  " + line)
    tell()
    tell("What came back:")
    for line in loss_lines(recovered, ledger, mission, float(truth.time_s[-1])):
        tell("  " + line)
    tell()
    lines = compare(figures, summary)
    tell("Truth (simulator) beside what the recovered flight says:")
    for line in number_lines(lines):
        tell("  " + line)
    tell()
    wrong = [line.what for line in lines if line.stated is not None and not line.agrees]
    missing = [line.what for line in lines if line.stated is None]
    tell(_verdict(len(lines), wrong, missing))


def _verdict(count, wrong, missing):
    told = [f"{count - len(wrong) - len(missing)} of the {count} main numbers agree with the truth"]
    if wrong:
        told.append(f"not: {', '.join(wrong)}")
    if missing:
        told.append(f"not stated: {', '.join(missing)}")
    return "; ".join(told) + "."
