"""How long it takes from the image of a card to the report, stage by stage, after a flight of three hours.

    python tools/bench_report.py              fly, then measure: some two minutes
    python tools/bench_report.py --card FILE  measure with the image of a card that is there
    python tools/bench_report.py --quick      the first minutes of a flight: only to see that it works

The stages run in one process, in their order, as the commands `loftbook recover` and `loftbook report` run them;
both commands are also timed whole, with the start of Python. The peer is pandas, reading nothing but the tables
that were recovered; figures are medians of the rounds, in processor time and as shares and ratios.
"""

import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from resource import RUSAGE_CHILDREN, getrusage
from statistics import median
from time import process_time

import pandas

from benchmark.table import parser_of, print_table
from ground.decode import decode_flight, group_boots
from ground.library import load_flight
from ground.mission import load_mission
from ground.page.page import make_page
from ground.page.plots import all_plots
from ground.page.write import write_report
from ground.recover import recover_sources
from ground.report import write_flights
from ground.statements import summarise
from onboard.simulator.demo import DEMO_MISSION
from onboard.simulator.prepare import CARD_NAME, prepare
from onboard.simulator.runners import run_in_process, run_on_unix, stage

SEED = 3
HOURS = 3.0
LEAST_LIFT_KG = 0.45  # a slow climb, so that the flight itself is long
QUICK_PERMILLE = 100
ROUNDS = 3
TARGET_S = 10.0


class _Enough(Exception):
    pass


def flown_card(folder, quick):
    """The image of a card of a flight of about three hours from power-on to the end of the data."""
    mission = load_mission(DEMO_MISSION)
    mission = replace(mission, balloon=replace(mission.balloon, free_lift_kg=LEAST_LIFT_KG))
    truth = prepare(mission, SEED, folder / "first", wait_s=60.0, after_s=60.0)
    rest_s = max(HOURS * 3600.0 - float(truth.time_s[-1]), 0.0) / 2.0
    flight = folder / "flight"
    prepare(mission, SEED, flight, wait_s=60.0 + rest_s, after_s=60.0 + rest_s)
    if quick:
        def stop(permille):
            if permille >= QUICK_PERMILLE:
                raise _Enough

        try:
            run_in_process(flight, stop)
        except _Enough:
            pass
    else:
        stage(folder / "staged")
        run_on_unix(flight, folder / "staged", lambda permille: None)
    return flight / CARD_NAME


def stages(card, folder):
    """Run all stages once: list of (name, processor time in s)."""
    times = []

    def timed(name, work):
        start = process_time()
        result = work()
        times.append((name, process_time() - start))
        return result

    recovered = timed("find, check and sort the records", lambda: recover_sources([card]))
    flights = timed(
        "convert them to quantities", lambda: [decode_flight(b) for b in group_boots(recovered.boots).values()]
    )
    results = timed("make all statements", lambda: [(flight, summarise(flight, recovered)) for flight in flights])
    timed("write tables, summary, account", lambda: write_flights(folder / "recovered", results, recovered))
    record = timed("read the tables, make the statements again", lambda: load_flight(folder / "recovered"))
    plots = timed("draw the plots", lambda: all_plots(record.case, record.statements))
    timed("make the page", lambda: write_report(folder / "report.html", make_page(record, plots, False)))
    return times


def pandas_time_s(folder):
    """Processor time in s in which pandas reads the same tables."""
    start = process_time()
    for path in folder.glob("*.csv"):
        pandas.read_csv(path)
    return process_time() - start


def command_time_s(*words):
    """Processor time in s of a whole command."""
    before = getrusage(RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-m", "ground", *map(str, words)], stdout=subprocess.DEVNULL, check=False)
    after = getrusage(RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def measure(card, base, rounds):
    """All rounds: (dict stage -> times, pandas' times, times of the two commands)."""
    by_stage, peer, commands = {}, [], []
    for number in range(rounds):
        folder = base / f"round-{number}"
        folder.mkdir()
        for name, seconds in stages(card, folder):
            by_stage.setdefault(name, []).append(seconds)
        peer.append(pandas_time_s(folder / "recovered"))
        again = base / f"commands-{number}"
        commands.append(
            (command_time_s("recover", card, "-o", again), command_time_s("report", again))
        )
    return by_stage, peer, commands


def main():
    parser = parser_of(__doc__, "a short flight, one round")
    parser.add_argument("--card", type=Path, help="the image of a card, instead of a flight")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        base = Path(scratch)
        card = options.card or flown_card(base, options.quick)
        by_stage, peer, commands = measure(card, base, 1 if options.quick else ROUNDS)
        page_mb = (base / "round-0" / "report.html").stat().st_size / 1e6
    times = {name: median(values) for name, values in by_stage.items()}
    total, peer_s = sum(times.values()), median(peer)
    print_table(
        ("stage", "share", "of pandas reading the tables", "s"),
        [(name, f"{100 * s / total:.0f} %", f"{s / peer_s:.2f} x", f"{s:.2f}") for name, s in times.items()]
        + [("all stages", "100 %", f"{total / peer_s:.2f} x", f"{total:.2f}")],
    )
    recover_s, report_s = (median(column) for column in zip(*commands, strict=True))
    both = recover_s + report_s
    print(
        f"\nWhole commands, with the start of Python: recover {recover_s:.2f} s, report {report_s:.2f} s, together "
        f"{both:.2f} s: {'under' if both < TARGET_S else 'NOT under'} {TARGET_S:.0f} s. The page has {page_mb:.1f} MB."
    )


if __name__ == "__main__":
    main()
