"""Fly ordinary and odd flights, recover them, and see how often the statements' uncertainties hold the truth.

    python tools/campaign_statements.py --keep FOLDER             fly all scenarios and keep their folders
    python tools/campaign_statements.py --reuse FOLDER            the kept ones again, without flying
    python tools/campaign_statements.py --scenario tree --list    ...

A statement gives an expanded uncertainty, which should hold the truth in about 95 of 100 cases. Exit code 1 if of any
statement fewer than 90 of 100 do, or a flight fails. Counts must be exact, and of what gives no uncertainty the
campaign says itself how near it wants it.
"""

import argparse
import re
import string
import sys
import time
from collections import defaultdict
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from onboard.simulator import runners  # noqa: E402
from tools.campaign.pool import results  # noqa: E402
from tools.campaign.statement_flights import fly_scenario, load, renew, scenarios  # noqa: E402
from tools.campaign.statement_judge import (  # noqa: E402
    CANNOT_TELL,
    COVERED,
    NO_TRUTH,
    NO_UNCERTAINTY,
    NOT_COVERED,
    judge,
    width,
)
from tools.campaign.statement_world import read_world  # noqa: E402

TARGET = 0.90
_MARKS = {COVERED: "o", NOT_COVERED: "X", CANNOT_TELL: "?", NO_TRUTH: "-", NO_UNCERTAINTY: "b"}


def run(job):
    """Fly if need be, and judge. job: (name, base, staged or None, renew).

    Returns (name, dict id -> Verdict, why it failed or "").
    """
    name, base, staged, anew = job
    scenario, folder = scenarios()[name], Path(base) / name
    try:
        if not folder.exists():
            fly_scenario(scenario, folder, staged)
        elif anew:
            renew(scenario, folder)
        flight = load(folder)
        world = read_world(folder, scenario, flight)
        return name, {key: judge(world, made) for key, made in flight.statements.items()}, ""
    except Exception as error:  # whatever it is, this flight failed and the others go on
        return name, {}, f"{type(error).__name__}: {error}".strip()


def tables(found, say=print):
    """Print statement by scenario, and what was off. found: dict scenario -> dict id -> Verdict.

    Returns dict id -> share of covered parts, each flight weighing the same, of the statements that can be judged.
    """
    names = list(found)
    ids = list(dict.fromkeys(key for verdicts in found.values() for key in verdicts))
    letters = (string.ascii_lowercase + string.ascii_uppercase) * 3
    say("; ".join(f"{letters[number]} {name}" for number, name in enumerate(names)))
    say(f"{'':<24}{letters[: len(names)]}  covered     of  width")
    shares = {}
    for key in ids:
        verdicts = [found[name].get(key) for name in names]
        marks = "".join(_MARKS[verdict.state] if verdict else " " for verdict in verdicts)
        own = [hit / count for hit, count in (verdict.covered for verdict in verdicts if verdict) if count]
        wide = width([verdict for verdict in verdicts if verdict])
        told = f"{'':7}{'':7}"
        if own:
            shares[key] = sum(own) / len(own)
            told = f"{100 * shares[key]:5.0f} %{len(own):7}"
        say(f"{key:<24}{marks}  {told}  {'' if wide is None else f'{100 * wide:.2g} %'}".rstrip())
    say("o covered, X not, ? cannot tell, - no truth in the simulator, b bare: no uncertainty;")
    say("of: flights with both; width: middle uncertainty, of the size of the value")
    return shares


def reasons(found, say=print):
    """Print why statements were off, and what could not be told: each reason once, with its scenarios."""
    off, unknown = [], defaultdict(list)
    for name, verdicts in found.items():
        for key, verdict in verdicts.items():
            if verdict.state == NOT_COVERED:
                off.append(f"  {key} in {name} {verdict.worst:.1f} uncertainties: {verdict.why}")
            elif verdict.state == CANNOT_TELL:
                unknown[key, re.sub(r"[-+]?\d[\d.]*", "#", verdict.why)].append((name, verdict.why))
    say("")
    say("Not covered:")
    for line in sorted(off):
        say(line)
    say("")
    say("Cannot tell:")
    for (key, _), cases in sorted(unknown.items()):
        names, others = [name for name, _ in cases], set(found).difference(name for name, _ in cases)
        where = ", ".join(names)
        if len(names) > 2 * len(others):
            where = f"all but {', '.join(sorted(others))}" if others else "all"
        say(f"  {key}: {cases[0][1]} ({where})")


def main(arguments=None):
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--scenario", action="append", help="this one only; may be given again")
    parser.add_argument("--jobs", type=int, default=1, help="flights at a time")
    parser.add_argument("--keep", help="folder for the flights; what is there already is not flown again")
    parser.add_argument("--reuse", help="folder with kept flights: fly none")
    parser.add_argument("--renew", action="store_true", help="of kept flights, write truth and recovery anew")
    parser.add_argument("--list", action="store_true", help="show the scenarios")
    options = parser.parse_args(arguments)
    known = scenarios()
    if options.list:
        for scenario in known.values():
            print(f"{scenario.name:<20}{scenario.line}")
        return 0
    names = options.scenario or list(known)
    unknown = [name for name in names if name not in known]
    if unknown:
        parser.error(f"there is no scenario {unknown[0]}; known: {', '.join(known)}")
    if options.reuse:
        names = [name for name in names if (Path(options.reuse) / name).is_dir()]
    began = time.monotonic()
    with TemporaryDirectory() as scratch:
        base = options.reuse or options.keep or scratch
        Path(base).mkdir(parents=True, exist_ok=True)
        staged = Path(scratch) / "staged"
        if any(not (Path(base) / name).exists() for name in names):
            runners.stage(staged)
        found, failed = {}, []
        work = [(name, base, staged, options.renew) for name in names]
        for name, verdicts, why in results(run, work, options.jobs):
            if why:
                failed.append(name)
                print(f"FAILED {name}: {why}", flush=True)
            else:
                found[name] = verdicts
                off = sum(verdict.state == NOT_COVERED for verdict in verdicts.values())
                print(f"{name}: {len(verdicts)} statements, {off} not covered", flush=True)
    shares = tables(found)
    reasons(found)
    low = [key for key, share in shares.items() if share < TARGET]
    share = sum(shares.values()) / max(len(shares), 1)
    print()
    print(
        f"{len(found)} flights, {len(failed)} failed; {len(shares)} statements judged, {100 * share:.1f} % covered; "
        f"below the {100 * TARGET:.0f} % wanted: {', '.join(low) or 'none'}; {time.monotonic() - began:.0f} s"
    )
    return 1 if failed or low else 0


if __name__ == "__main__":
    sys.exit(main())
