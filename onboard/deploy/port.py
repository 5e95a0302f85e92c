"""Copy a built folder to a board on a serial port, through mpremote."""

import json
import subprocess
import sys
from zlib import crc32

from ground.errors import LoftbookError
from onboard.deploy.build import LIBRARY, MAIN

OLDEST = (1, 24)  # MicroPython that the firmware is written for
BYTECODE = 6  # version of the .mpy files
_SILENCE_S = 300  # no step takes so long

_ASK = """
import sys
about = sys.implementation
print("loftbook", about.name, about.version[0], about.version[1], getattr(about, "_mpy", 0) & 255)
"""

# main.py goes first and comes last: a board whose copying was interrupted does not start half of a logger.
_CLEAR = f"""
import os
def clear(path):
    try:
        for name in os.listdir(path):
            clear(path + "/" + name)
        os.rmdir(path)
    except OSError:
        try:
            os.remove(path)
        except OSError:
            pass
for path in ("{MAIN}", "{LIBRARY}/protocol", "{LIBRARY}/onboard"):
    clear(path)
for path in {{folders}}:
    try:
        os.mkdir(path)
    except OSError:
        pass  # lib may be there and hold modules of the board's owner
"""

_SUMS = """
from binascii import crc32
buffer = bytearray(256)
for path in {paths}:
    total = 0
    with open(path, "rb") as file:
        while True:
            count = file.readinto(buffer)
            if not count:
                break
            total = crc32(memoryview(buffer)[:count], total)
    print("loftbook", path, total)
"""


def copy_to_port(folder, files, port, say):
    """Copy files to the board, check them there, and restart it.

    folder: Path; files: list of Path relative to it, main.py last; port: as /dev/ttyACM0; say: takes a line.
    Raises LoftbookError if no board answers, its MicroPython is too old, or a file does not arrive whole.
    """
    say(f"Asking the board on {port} ...")
    _check_version(_run(port, ["exec", _ASK]), port)
    folders = sorted({parent.as_posix() for path in files for parent in path.parents} - {"."})
    _run(port, ["exec", _CLEAR.format(folders=folders)])
    say(f"Copying {len(files)} files ...")
    for inside in sorted({path.parent for path in files[:-1]}):
        group = [path.as_posix() for path in files[:-1] if path.parent == inside]
        if inside.parts:
            _run(port, ["fs", "cp", *group, f":{inside.as_posix()}/"], folder)
        else:  # the board's root has no name that every port knows as a folder
            for name in group:
                _run(port, ["fs", "cp", name, f":{name}"], folder)
    _check_sums(folder, files[:-1], port)
    _run(port, ["fs", "cp", MAIN, f":{MAIN}"], folder)
    _check_sums(folder, files[-1:], port)
    _run(port, ["reset"])


def _check_version(lines, port):
    if not lines:
        raise LoftbookError(f"{port}: what answers there is no MicroPython board; check the port")
    name, major, minor, bytecode = lines[0]
    if name != "micropython" or (int(major), int(minor)) < OLDEST or int(bytecode) != BYTECODE:
        oldest = ".".join(map(str, OLDEST))
        raise LoftbookError(
            f"{port}: the board runs {name} {major}.{minor} and needs MicroPython {oldest} or newer; "
            "put that onto it first"
        )


def _check_sums(folder, files, port):
    paths = [path.as_posix() for path in files]
    there = dict(_run(port, ["exec", _SUMS.format(paths=json.dumps(paths))]))
    for path in paths:
        if there.get(path) != str(crc32((folder / path).read_bytes())):
            raise LoftbookError(f"{port}: {path} did not arrive whole on the board; deploy again")


def _run(port, words, folder=None):
    # "resume": no soft reset. Until the next one, an interrupted logger feeds its watchdog in the background.
    command = [sys.executable, "-m", "mpremote", "connect", port, "resume", *words]
    try:
        done = subprocess.run(
            command, cwd=folder, stdin=subprocess.DEVNULL, capture_output=True, text=True, encoding="utf-8",
            errors="replace", timeout=_SILENCE_S,
        )
    except subprocess.TimeoutExpired:
        message = f"{port}: the board stopped answering; plug it in again and deploy once more"
        raise LoftbookError(message) from None
    if done.returncode != 0:
        reason = ((done.stderr.strip() or done.stdout.strip()).splitlines() or ["no reason given"])[-1]
        raise LoftbookError(
            f"{port}: the board cannot be reached or refused: {reason.removeprefix('mpremote: ')}; "
            "check the cable, the port, and that no other program has it open"
        )
    lines = (line.split() for line in done.stdout.splitlines())
    return [words[1:] for words in lines if words[:1] == ["loftbook"]]
