"""Every fault alone and in pairs, in each phase of a short flight: the other sensors, the card and the phases go on,
the log says what failed and when, nothing ends the loop, and what failed returns.

    python tools/campaign_faults.py --jobs 2

Each flight has its fault or pair in all four phases. It flies on CPython; every so many flights it also flies on
both real MicroPython interpreters, which must write the same bytes.
"""

import argparse
import sys
import time
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from onboard.simulator import runners  # noqa: E402
from tools.campaign.fault_cases import FIRST, OTHER, pairs  # noqa: E402
from tools.campaign.fault_flights import Course, first_mission, other_mission, read  # noqa: E402
from tools.campaign.fault_judge import judge, silences  # noqa: E402
from tools.campaign.pool import results  # noqa: E402

QUICK_SINGLES = ("silent barometer", "stuck bus 50", "babbling gnss", "pulled card", "reset board 1")
QUICK_PAIRS = (("silent motion", "refusing card 1000"), ("frozen barometer", "silent gnss"))
_courses = {}


def _course(name, base):
    if name not in _courses:
        mission = first_mission() if name == "first" else other_mission()
        course = Course(mission, Path(base) / f"course-{name}-{len(list(Path(base).iterdir()))}-{_worker()}")
        records, _ = read(course.fly([], course.folder.with_suffix(".clean"))[0], [])
        _courses[name] = (course, records)
    return _courses[name]


def _worker():
    import os

    return os.getpid()


def _names(cases):
    return " + ".join(case.order for case in cases)


def run(job):
    """Fly and judge. job: (payload, cases, folder, staged or None). Returns (names, list of what is wrong)."""
    payload, cases, base, staged = job
    course, clean = _course(payload, base)
    rows, when = course.rows(cases)
    folder = Path(base) / f"run-{_worker()}"
    names = _names(cases)
    try:
        image, sent = course.fly(rows, folder)
        wrong = judge(*read(image, rows), when, clean, course) + silences(sent, when, course)
        for interpreter in ("unix", "wasm") if staged else ():
            if course.fly(rows, folder, interpreter, staged) != (image, sent):
                wrong.append(f"{interpreter} writes other bytes than CPython")
    except Exception as error:  # whatever it is, it ended the loop
        return payload, names, [f"the loop ended: {type(error).__name__}: {error}"]
    return payload, names, wrong


def jobs(options, base, staged):
    """All flights of the campaign, singles first."""
    by_order = {case.order: case for case in FIRST}
    if options.quick:
        found = [("first", (by_order[order],)) for order in QUICK_SINGLES]
        found += [("first", tuple(by_order[order] for order in pair)) for pair in QUICK_PAIRS]
    else:
        found = [("first", (case,)) for case in FIRST] + [("other", (case,)) for case in OTHER]
        if not options.singles:
            found += [("first", pair) for pair in pairs()]
    found = [job for job in found if options.only in _names(job[1])]
    return [
        (payload, cases, base, staged if options.real and number % options.real == 0 else None)
        for number, (payload, cases) in enumerate(found)
    ]


def main(arguments=None):
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--quick", action="store_true", help="a small slice")
    parser.add_argument("--singles", action="store_true", help="no pairs")
    parser.add_argument("--only", default="", help="only flights with this in their names")
    parser.add_argument("--jobs", type=int, default=1, help="flights at a time")
    parser.add_argument("--real", type=int, default=40, help="every so many flights also on MicroPython; 0: none")
    options = parser.parse_args(arguments)
    began = time.monotonic()
    failures = []
    flights = Counter()
    with TemporaryDirectory() as base:
        staged = Path(base) / "staged"
        if options.real:
            runners.stage(staged)
        work = jobs(options, base, staged)
        for payload, names, wrong in results(run, work, options.jobs):
            flights["pairs" if " + " in names else "alone"] += 1
            print(f"{payload:<6}{names:<62}{'FAILED' if wrong else 'ok'}", flush=True)
            for line in wrong:
                print(f"      {line}")
            failures += wrong[:1]
        flights["on MicroPython too"] = sum(job[3] is not None for job in work)
    told = ", ".join(f"{count} {name}" for name, count in flights.items())
    print(f"flights: {told}; each fault in 4 phases; {len(failures)} failed; {time.monotonic() - began:.0f} s")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
