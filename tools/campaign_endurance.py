"""Fly for days: tick wrap-around, midnights, a leap second, a GNSS week number that begins anew, a battery
that runs down.

    python tools/campaign_endurance.py                           48 hours on CPython, then 4 on each
    MicroPython python tools/campaign_endurance.py --on unix --hours 48

A short flight is repeated on a card that is large enough; the receiver's time goes on. The log is then
recovered and decoded: every sample must be there, UTC must be right throughout, nothing may have failed, and
the heap of a real interpreter must hold the same in the end as in the beginning. Exit code 1 on any failure.
"""

import argparse
import json
import shutil
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from ground.mission.sections import Downlink, Switch  # noqa: E402
from onboard.firmware.logger import Logger  # noqa: E402
from onboard.firmware.settings import FILE_NAME, load  # noqa: E402
from onboard.simulator import runners  # noqa: E402
from onboard.simulator.board.clock import Clock  # noqa: E402
from onboard.simulator.board.tape import INDEX_NAME, Tape  # noqa: E402
from onboard.simulator.board.virtual import VirtualBoard  # noqa: E402
from onboard.simulator.board.modem import TIMES_NAME  # noqa: E402
from onboard.simulator.cards import make_card  # noqa: E402
from onboard.simulator.prepare import CARD_NAME  # noqa: E402
from protocol.tick import TICK_PERIOD  # noqa: E402
from tools.campaign import power_scenes  # noqa: E402
from tools.campaign.endurance_judge import downlink_faults, heap_faults, judge, read_downlink  # noqa: E402
from tools.campaign.endurance_tape import PeriodicTape, Plan  # noqa: E402

HERE = Path(__file__).resolve().parent
# 2026-12-31. No leap second is announced for its end; ITU-R TF.460-6 prefers the ends of December and June.
LEAP_DAY = 20818
DAY_S = 86_400
DOWNLINK = Downlink(
    baud=1200, period_s=10, landed_period_s=30, low_battery_mv=3300, low_battery_period_s=60, duty_percent=5.0
)
SWITCHES = (
    Switch(name="camera", pin=15, phases=("climbing", "falling"), above_m=300.0),
    Switch(name="buzzer", pin=13, phases=("landed",), after_s=20, blink_on_ms=500, blink_period_ms=2000),
)
BATTERY_PERMILLE = 600  # what is left of the voltage in the end: far below what a team would fly with
BYTES_A_SECOND = 330  # of log, parity included, with some room
LEAST_CARD_MB = 16
HEAP_KB = 160  # the tape that is changed as it plays takes more than a plain one; w doubles it on 64 bits
ON = ("cpython", "unix", "wasm")


def make_plan(hours):
    """(plan as a dict, tick at power-on): the clock wraps after a fifth of the time; after three quarters, at
    midnight, comes the leap second, and then for a while the wrong week number.
    """
    seconds = round(hours * 3600)
    leap_s = seconds // 2 + seconds // 4
    day, start_s = divmod(LEAP_DAY * DAY_S + DAY_S - leap_s, DAY_S)
    plan = {
        "length_ms": seconds * 1000, "start_day": day, "start_s": start_s, "leap_s": leap_s,
        "rollover_from_s": seconds * 13 // 16, "rollover_until_s": seconds * 15 // 16,
        "battery_permille": BATTERY_PERMILLE,
    }  # fmt: skip
    return plan, TICK_PERIOD - seconds * 1000 // 5


def make_folder(folder, plan):
    """Prepare the short flight and its large card. Returns the tape's period in s and its drift."""
    power_scenes.prepare_short_flight(folder, downlink=DOWNLINK, switches=SWITCHES)
    (folder / "endurance.json").write_text(json.dumps(plan), "utf-8")
    log_mb = plan["length_ms"] // 1000 * BYTES_A_SECOND // 1_000_000 + 2
    make_card(folder / CARD_NAME, max(LEAST_CARD_MB, log_mb * 4 // 3 + 1), log_mb)
    index = json.loads((folder / INDEX_NAME).read_text("utf-8"))
    return index["length_ms"] // 1000, index["drift_ppm"]


def fly_in_process(folder, plan, tick):
    """Fly on this interpreter; returns no heap."""
    tape = PeriodicTape(Tape(str(folder)), Plan(plan))
    board = VirtualBoard(str(folder), tape, Clock(tape.drift_ppm, 0, tick))
    logger = Logger(load(str(folder / FILE_NAME)), board)
    for _ in logger.boot():
        pass
    while board.is_running():
        logger.step()
    logger.finish()
    board.card.close()
    return []


def fly_on(interpreter, folder, tick):
    """Fly on a real MicroPython. Returns (world ms, bytes) that its heap held, in order."""
    with TemporaryDirectory() as staged:
        runners.stage(staged)
        for name in ("endurance_tape.py", "endurance_fly.py"):
            shutil.copy(HERE / "campaign" / name, staged)
        if interpreter == "unix":
            command = [*runners.unix_command(f"{HEAP_KB}wk"), "endurance_fly.py", str(folder), str(tick)]
        else:
            code = (
                "import sys; from onboard.simulator.webassembly import run;"
                "sys.exit(run(['/staged/endurance_fly.py', '/flight', sys.argv[3]], "
                "{sys.argv[1]: '/staged', sys.argv[2]: '/flight'}, sys.argv[4])[0])"
            )
            command = [sys.executable, "-c", code, staged, str(folder), str(tick), f"{HEAP_KB}k"]
        where, paths = (staged, {"MICROPYPATH": "."}) if interpreter == "unix" else (HERE.parent, None)
        done = subprocess.run(
            command, cwd=where, env=paths, stdin=subprocess.DEVNULL, capture_output=True, text=True
        )
    lines = [line.split() for line in done.stdout.splitlines()]
    if done.returncode or lines[-1:] != [["done"]]:
        raise RuntimeError(f"{interpreter} stopped: {(done.stdout + done.stderr).strip()[-300:]}")
    return [(int(line[1]), int(line[2])) for line in lines if line[0] == "held"]


def run(interpreter, hours, folder):
    """Fly so many hours in a folder that does not exist yet. Returns the Verdict and a line that tells it."""
    began = time.monotonic()
    plan, tick = make_plan(hours)
    period_s, drift_ppm = make_folder(folder, plan)
    if interpreter == "cpython":
        held = fly_in_process(folder, plan, tick)
    else:
        held = fly_on(interpreter, folder, tick)
    flown = time.monotonic() - began
    verdict = judge(folder / CARD_NAME, plan, period_s, tick, drift_ppm)
    air = read_downlink(folder / TIMES_NAME, DOWNLINK.baud)
    verdict.failures += downlink_faults(air, DOWNLINK, plan["length_ms"])
    heap = ""
    if held:
        verdict.failures += heap_faults(held)
        heap = f", heap {held[len(held) // 4][1]} bytes, {held[-1][1]} in the end"
    return verdict, (
        f"{interpreter}: {verdict.hours:.2f} hours, {verdict.records} records in {verdict.blocks} blocks, "
        f"{verdict.phases} changes of phase, longest gap {verdict.gap_ms} ms, "
        f"UTC within {verdict.utc_error_ms:.0f} ms, {len(air)} packets heard{heap}; flown in {flown:.0f} s, "
        f"judged in {time.monotonic() - began - flown:.0f} s"
    )


def main(arguments=None):
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--on", choices=ON, help="this interpreter only")
    parser.add_argument("--hours", type=float, default=48.0, help="to fly, 48 if not given")
    parser.add_argument("--real-hours", type=float, default=4.0, help="on MicroPython, 4 if not given")
    options = parser.parse_args(arguments)
    runs = [(name, options.hours if name == "cpython" else options.real_hours) for name in ON]
    if options.on:
        runs = [(options.on, options.hours)]
    failed = False
    for name, hours in runs:
        with TemporaryDirectory() as folder:
            verdict, line = run(name, hours, Path(folder) / "flight")
        print(line)
        for words in verdict.failures:
            failed = True
            print(f"FAILED {name}: {words}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
