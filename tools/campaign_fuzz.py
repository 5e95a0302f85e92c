"""Feed every parser with inputs that nobody thought of, and count the executions.

    python tools/campaign_fuzz.py --minutes 25                      all parsers, one after the other
    python tools/campaign_fuzz.py --minutes 2 --target nmea         one of them
    python tools/campaign_fuzz.py --replay crash-1234 --target nmea one input

With atheris installed the search is guided by coverage (each parser runs in a process of its own,
because the engine ends it); without, seeds are mutated at random. A finding is an exception that is not
documented, an input that takes longer than TIMEOUT_S or asks for more than MEMORY_MB; its input is kept
in --findings. The engine's own memory grows with the executions, so whether a parser holds on to memory
is told by --engine mutation, which gives the process's peak.
"""

import argparse
import os
import re
import resource
import signal
import subprocess
import sys
import time
import traceback
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

TIMEOUT_S = 20
MEMORY_MB = 2048


def main(arguments=None):
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--minutes", type=float, default=25, help="budget for all targets together")
    parser.add_argument("--runs", type=int, default=0, help="or so many executions of each target")
    parser.add_argument("--target", action="append", help="only this one; may be repeated")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--engine", choices=("atheris", "mutation"), help="atheris if it is installed")
    parser.add_argument("--findings", default="fuzz-findings", help="folder for inputs that break something")
    parser.add_argument("--corpus", help="folder in which the inputs found are kept for the next time")
    parser.add_argument("--replay", help="run this input once on --target")
    parser.add_argument("--child", help=argparse.SUPPRESS)
    options = parser.parse_args(arguments)
    engine = options.engine or ("atheris" if _has_atheris() else "mutation")
    if options.child:
        return _atheris_child(options)
    from tools.campaign.targets import TARGETS

    names = options.target or list(TARGETS)
    unknown = [name for name in names if name not in TARGETS]
    if unknown:
        sys.exit(f"no target {unknown[0]}; there are: {', '.join(TARGETS)}")
    if options.replay:
        TARGETS[names[0]][0](Path(options.replay).read_bytes())
        print("nothing happened")
        return 0
    Path(options.findings).mkdir(exist_ok=True)
    whole = sum(TARGETS[name][3] for name in names)
    run_one = _by_atheris if engine == "atheris" else _by_mutation
    total, findings = 0, []
    print(f"engine: {engine}")
    for name in names:
        seconds = options.minutes * 60 * TARGETS[name][3] / whole
        began = time.monotonic()
        runs, note, found = run_one(name, TARGETS[name], seconds, options)
        total += runs
        findings += [f"{name}: {words}" for words in found]
        took = time.monotonic() - began
        print(f"{name:16} {runs:9d} executions in {took:5.0f} s, {note}, {len(found)} findings", flush=True)
    for words in findings:
        print(f"FAILED {words}")
    print(f"{total} executions, {len(findings)} findings")
    return 1 if findings else 0


def _has_atheris():
    import importlib.util

    return importlib.util.find_spec("atheris") is not None


def _by_atheris(name, target, seconds, options):
    """(executions, note, findings) of processes that the engine drives."""
    from tools.campaign.targets import FOLDER

    _, seeds, longest, _ = target
    findings = Findings(name, options.findings)
    with TemporaryDirectory() as temporary:
        corpus = Path(options.corpus or temporary) / name.replace(" ", "-")
        corpus.mkdir(parents=True, exist_ok=True)
        for index, seed in enumerate(seeds):
            (corpus / f"seed-{index}").write_bytes(seed)
        runs, stop = 0, time.monotonic() + seconds
        # A timeout or too much memory ends the engine; the rest of the time is for what lies behind it.
        for attempt in range(8):
            left = stop - time.monotonic()
            if attempt and (left < 1 or 0 < options.runs <= runs):
                break
            flags = [
                f"-max_total_time={max(1, int(left))}", f"-seed={options.seed + attempt}",
                f"-max_len={longest}", f"-timeout={TIMEOUT_S}", f"-malloc_limit_mb={MEMORY_MB}",
                "-rss_limit_mb=0", "-print_final_stats=1",
                f"-artifact_prefix={findings.folder}{os.sep}{findings.stem}-",
            ]
            if options.runs:
                flags.append(f"-runs={options.runs - runs}")
            child = "|".join([name, str(findings.folder), str(corpus), *flags])
            done = subprocess.run(
                [sys.executable, __file__, "--child", child],
                capture_output=True, text=True, errors="replace",
                env={**os.environ, "CAMPAIGN_FOLDER": FOLDER},
            )
            runs += _number(r"stat::number_of_executed_units:\s+(\d+)", done.stderr)
            findings.words += re.findall(r"^FINDING (.*)$", done.stdout, re.MULTILINE)
            if done.returncode == 0:
                break
            findings.words.append(_what_broke(done))
        reached = _number(r"cov: (\d+)", done.stderr)
        peak = _number(r"stat::peak_rss_mb:\s+(\d+)", done.stderr)
    return runs, f"{reached} edges reached, {peak} MB", sorted(set(findings.words))


def _number(pattern, text):
    found = re.findall(pattern, text)
    return int(found[-1]) if found else 0


def _what_broke(done):
    lines = done.stderr.splitlines() + done.stdout.splitlines()
    telling = re.compile("Error|Exception|ERROR|timeout|out-of-memory|Test unit written")
    marks = [line for line in lines if telling.search(line)]
    return f"exit code {done.returncode}: {' | '.join(marks[:6] or lines[-3:])}"


def _atheris_child(options):
    import atheris

    name, folder, corpus, *flags = options.child.split("|")
    with atheris.instrument_imports(include=["ground", "protocol", "onboard"]):
        from tools.campaign.targets import TARGETS
    findings, function = Findings(name, folder), TARGETS[name][0]

    def run(data):
        try:
            function(data)
        except Exception as error:
            if findings.keep(error, data):
                print(f"FINDING {findings.words[-1]}", flush=True)

    atheris.Setup([sys.argv[0], *flags, corpus], run)
    atheris.Fuzz()
    return 0


class Findings:
    """Keeps the first input that raises an error at some place, and goes on."""

    def __init__(self, name, folder):
        self.folder, self.stem = Path(folder), name.replace(" ", "-")
        self.words = []

    def keep(self, error, data):
        """True if this error at this place is new."""
        where = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{type(error).__name__} ({Path(where.filename).name}:{where.lineno})"
        if any(words.startswith(place) for words in self.words):
            return False
        self.words.append(f"{place}: {str(error)[:200]}")
        (self.folder / f"{self.stem}-{len(self.words)}-{type(error).__name__}").write_bytes(data)
        return True


class Late(BaseException):
    """An input took too long."""


def _by_mutation(name, target, seconds, options):
    """As _by_atheris, in this process and without a guide."""
    function, seeds, longest, _ = target
    rng = Random(f"{name} {options.seed}")
    findings, runs, pool = Findings(name, options.findings), 0, list(seeds)

    def late(*_):
        raise Late(f"longer than {TIMEOUT_S} s")

    signal.signal(signal.SIGALRM, late)
    stop = time.monotonic() + seconds
    while (runs < options.runs) if options.runs else time.monotonic() < stop:
        data = _mutated(rng, rng.choice(pool), longest)
        signal.alarm(TIMEOUT_S)
        try:
            function(data)
        except (Exception, Late) as error:
            findings.keep(error, data)
        finally:
            signal.alarm(0)
        runs += 1
        if rng.random() < 0.01:
            pool = [*seeds, data, *pool[len(seeds):]][:200]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    if peak > MEMORY_MB:
        findings.words.append(f"{peak} MB of memory used")
    return runs, f"{peak} MB", findings.words


def _mutated(rng, data, longest):
    data = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 4, 12))):
        at = rng.randrange(len(data) + 1)
        how = rng.randrange(6)
        if how == 0:
            data[at:at + 1] = rng.randbytes(1)
        elif how == 1:
            del data[at:at + rng.choice((1, 2, 10))]
        elif how == 2:
            data[at:at] = rng.randbytes(rng.choice((1, 2, 8)))
        elif how == 3:
            data[at:at] = data[rng.randrange(len(data) + 1):][:rng.choice((4, 50))]
        elif how == 4:
            data[at:at + 1] = rng.choice((b"\0", b"\xff", b"\n", b" ", b"-", b"9", b"\x80"))
        elif data and at < len(data):
            data[at] ^= 1 << rng.randrange(8)
    return bytes(data[:longest])


if __name__ == "__main__":
    sys.exit(main())
