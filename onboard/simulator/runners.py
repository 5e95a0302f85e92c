"""Run the firmware on the virtual board: in this process, or on a real MicroPython interpreter."""

import gc
import os
import subprocess
import sys
from importlib import resources
from pathlib import Path

from ground.errors import LoftbookError
from onboard.deploy.compile import compile_module

# The logger has to live in 64 KB on a 32-bit board (a test of its own shows that it does); a downlink and the
# virtual board beside it are given 64 KB more. The w doubles that on a 64-bit machine, where each word is twice as wide.
UNIX_HEAP = "128wk"
WASM_HEAP = "128k"
PACKAGES = ("protocol", "onboard.firmware", "onboard.simulator.board")


class RunError(RuntimeError):
    """The interpreter stopped before the flight was over; the message holds its last words."""


def unix_command(heap=UNIX_HEAP):
    """The command that starts the unix port of MicroPython with a heap of that size."""
    start = "import sys, micropython_unix; sys.argv[0] = 'micropython'; sys.exit(micropython_unix.main())"
    return [sys.executable, "-c", start, "-X", f"heapsize={heap}"]


def stage(folder):
    """Compile what goes onto the board, and the virtual board, into a folder as .mpy files.

    folder: Path; made if it is not there. Raises RunError if a file does not compile.
    """
    folder = Path(folder)
    for package in PACKAGES:
        target = folder.joinpath(*package.split("."))
        target.mkdir(parents=True, exist_ok=True)
        for source in resources.files(package).iterdir():
            if source.name.endswith(".py") and source.name != "fly.py":
                _compile(package, source, target)
    fly = resources.files("onboard.simulator.board") / "fly.py"
    (folder / "fly.py").write_text(fly.read_text("utf-8"), "utf-8")


def _compile(package, source, target):
    with resources.as_file(source) as path:
        try:
            compile_module(path, f"{package}.{path.stem}", target / f"{path.stem}.mpy")
        except LoftbookError as error:
            raise RunError(str(error)) from None


def run_in_process(folder, progress=None):
    """Fly a prepared folder on this interpreter.

    progress: called with thousandths of the flight.
    """
    from onboard.simulator.board.virtual import POWER_ON

    was_enabled = gc.isenabled()
    gc.disable()  # nothing in the loop makes cycles
    try:
        start = (0, POWER_ON)
        while start:
            start = _one_boot(folder, start, progress)
    finally:
        if was_enabled:
            gc.enable()


def _one_boot(folder, start, progress):
    # Returns the start of the boot that follows, None at the end of the tape.
    from onboard.firmware.logger import Logger
    from onboard.firmware.settings import FILE_NAME, load
    from onboard.simulator.board.virtual import VirtualBoard

    board = VirtualBoard(str(folder), start=start)
    logger = Logger(load(str(Path(folder) / FILE_NAME)), board)
    for _ in logger.boot():
        pass
    shown = -1
    try:
        while board.is_running():
            logger.step()
            if progress and board.permille() != shown:
                shown = board.permille()
                progress(shown)
        if not board.restart():
            logger.finish()  # otherwise the supply is gone, and with it what the memory holds
    finally:
        board.card.close()
    return board.restart()


def run_on_unix(folder, staged, progress=None):
    """Fly a prepared folder on the unix port of MicroPython.

    folder: Path; staged: Path made by stage(); progress: called with thousandths of the flight.
    Returns the interpreter's report: a dict of what it printed at the end.
    Raises RunError if it stops early.
    """
    command = [*unix_command(), "fly.py", str(Path(folder).resolve())]
    return _run(command, staged, {**os.environ, "MICROPYPATH": "."}, progress)


def run_on_wasm(folder, staged, progress=None):
    """Fly a prepared folder on MicroPython in WebAssembly (32 bits, like the boards).

    As run_on_unix; the report also has the executed instructions under "fuel".
    """
    code = "import sys; from onboard.simulator.webassembly import main; sys.exit(main(sys.argv[1:]))"
    command = [sys.executable, "-c", code, str(Path(staged).resolve()), str(Path(folder).resolve()), WASM_HEAP]
    return _run(command, None, None, progress)


def _run(command, cwd, environment, progress):
    process = subprocess.Popen(
        command, cwd=cwd, env=environment, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT, text=True,
    )
    with process:
        report = _follow(process.stdout, progress)
    return _finished(report, process.returncode)


def _follow(lines, progress):
    report = {"words": []}
    for line in lines:
        word, _, number = line.strip().rpartition(" ")
        if word == "flown" and progress:
            progress(int(number))
        elif number.isdigit() and word in ("heap", "least heap", "fuel"):
            report[word] = int(number)
        elif word != "flown":
            report["words"].append(line.rstrip())
    return report


def _finished(report, code):
    if code != 0 or "done" not in report["words"]:
        last = " / ".join(report["words"][-4:]) or "no words"
        raise RunError(f"MicroPython stopped before the flight was over (status {code}): {last}")
    return report
