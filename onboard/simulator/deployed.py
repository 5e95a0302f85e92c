"""Run what `loftbook deploy --to-folder` made on a real MicroPython, against the virtual board."""

import os
import subprocess
import sys
from importlib import resources
from pathlib import Path

from onboard.simulator import runners

SCRIPT = "deployed.py"
# The logger's 64 KB, and as much again for the virtual machine around it.
UNIX_HEAP = "160wk"
WASM_HEAP = "192k"


def stage_machine(folder):
    """Compile the virtual board and its machine module into a folder. Raises RunError if that fails."""
    folder = Path(folder)
    runners.stage(folder)
    script = resources.files("onboard.simulator.board") / SCRIPT
    (folder / SCRIPT).write_text(script.read_text("utf-8"), "utf-8")


def run_deployed(
    deployed, flight, staged, seconds=None, interpreter="unix", script=SCRIPT, progress=None
):
    """Give power to a deployed folder.

    deployed: Path of what loftbook deploy made; flight: Path of a prepared folder, whose card is written to;
    staged: Path made by stage_machine(); seconds: of simulated time until the power goes off, None for the
    whole tape;
    interpreter: "unix" or "wasm"; script: in `staged`, starts it; progress: called with the simulated
    time in s, now and then.
    Returns the lines of the board's console; the last one is "done", or "watchdog reset".
    Raises RunError if the interpreter ends in another way.
    """
    until = [] if seconds is None else [str(seconds)]
    if interpreter == "unix":
        folders = [str(deployed.resolve()), str(flight.resolve())]
        command = [*runners.unix_command(UNIX_HEAP), script, *folders, *until]
        status, lines = _run(command, progress, cwd=staged, env={**os.environ, "MICROPYPATH": "."})
    else:
        folders = map(str, (staged, deployed, flight))
        command = [sys.executable, "-m", "onboard.simulator.deployed", script, *folders, *until]
        status, lines = _run(command, progress)
    if status != 0 or not lines or lines[-1] not in ("done", "watchdog reset"):
        words = " / ".join(lines[-4:]) or "no words"
        raise runners.RunError(f"MicroPython stopped before the power went off (status {status}): {words}")
    return lines


def _run(command, progress, **where):
    # Returns status and lines of the console, without those that tell the time.
    process = subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        encoding="utf-8", errors="replace", **where,
    )
    lines = []
    with process:
        try:
            for line in process.stdout:
                word, _, number = line.strip().rpartition(" ")
                if word != "flown" or not number.isdigit():
                    lines.append(line.rstrip())
                elif progress:
                    progress(int(number))
        except BaseException:
            process.kill()  # otherwise it would be waited for
            raise
    return process.returncode, lines


def _run_on_wasm(script, staged, deployed, flight, *until):
    from onboard.simulator.webassembly import run

    folders = {staged: "/staged", deployed: "/deployed", flight: "/flight"}
    return run([f"/staged/{script}", "/deployed", "/flight", *until], folders, WASM_HEAP)[0]


if __name__ == "__main__":
    sys.exit(_run_on_wasm(*sys.argv[1:]))
