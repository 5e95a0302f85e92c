"""Runs the same checks on both MicroPython interpreters: modules that have CHECKS, a dict of name to function."""

import shutil
import subprocess
import sys
from pathlib import Path

from onboard.simulator import runners

HERE = Path(__file__).parent
HEAP = "16M"


def stage(folder, modules, beside=()):
    """Put what goes onto a board, the virtual board, these modules and those beside them into a folder."""
    runners.stage(folder)
    for name in (*modules, *beside, "checks_run"):
        shutil.copy(HERE / f"{name}.py", folder)
    return folder


def on_unix(folder, modules):
    """What the checks of the modules say on the unix port: dict check -> "ok" or what is wrong."""
    command = [*runners.unix_command(HEAP.replace("M", "wM")), "checks_run.py", *modules]
    return _told(subprocess.run(
        command, cwd=folder, capture_output=True, text=True, env={"MICROPYPATH": "."}
    ))


def on_wasm(folder, modules):
    """The same in WebAssembly, with 32 bits."""
    code = (
        "import sys; from onboard.simulator.webassembly import run;"
        "sys.exit(run(['/staged/checks_run.py', *sys.argv[3:]], {sys.argv[1]: '/staged'}, sys.argv[2])[0])"
    )
    command = [sys.executable, "-c", code, str(folder), HEAP, *modules]
    return _told(subprocess.run(command, capture_output=True, text=True))


def _told(done):
    assert done.returncode == 0, done.stdout + done.stderr
    return dict(line.split(" ", 1) for line in done.stdout.splitlines())
