"""Damage logs in thousands of ways and compare what recovery makes of them with an independent judge.

    python tools/campaign_oracle.py                    2,000 cases, a table, exit code 1 on any failure
    python tools/campaign_oracle.py --seed 17          one case, with all that is known of it

Logs are written by the board's own BlockStore and Parity; the judge (tools/campaign/expect.py) knows
every byte that was changed, has its own check sums and imports nothing of ground/.
"""

import argparse
import gzip
import multiprocessing
import sys
import time
import traceback
from collections import Counter, defaultdict
from pathlib import Path
from tempfile import TemporaryDirectory

import zstandard

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tools.campaign import cases, sources  # noqa: E402
from tools.campaign.judge import Verdict, judge  # noqa: E402
from tools.campaign.reading import read  # noqa: E402

COLUMNS = (
    "cases", "written", "survived", "proven", "rebuildable", "rebuilt", "repairable", "repaired", "extra",
    "packets", "missed", "invented", "missed records", "invented records", "unproven records", "chance",
    "failed",
)
COMPRESSED = 7  # every so many cases the source is compressed, by turns in one of two ways


def _gzip(data):
    return gzip.compress(data, 1)


def run_case(seed, folder):
    """Verdict on the case of a seed; whatever is raised is a failure of it."""
    verdict = Verdict(seed, "none")
    try:
        case = cases.make_case(seed)
        verdict.name = case.name
        data = bytes(case.image.data)
        suffix, pack = (".img", bytes)
        if seed % COMPRESSED == 0:
            suffix, pack = ((".img.gz", _gzip), (".img.zst", zstandard.compress))[seed // COMPRESSED % 2]
        path = Path(folder) / f"case-{seed}{suffix}"
        path.write_bytes(pack(data))
        try:
            verdict = judge(case, read(path, len(data)))
        finally:
            path.unlink()
    except Exception as error:
        where = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{Path(where.filename).name}:{where.lineno}"
        verdict.failures.append(f"{type(error).__name__}: {error} ({place})")
    return verdict


def run(seeds, jobs, folder):
    """Yield the Verdicts of all seeds, in any order."""
    if jobs == 1:
        yield from (run_case(seed, folder) for seed in seeds)
        return
    sources.empty_card()  # made once, before the processes part
    portion = cases.CASES_A_LOG
    with multiprocessing.get_context("fork").Pool(jobs) as pool:
        work = [(seeds[i:i + portion], folder) for i in range(0, len(seeds), portion)]
        for verdicts in pool.imap_unordered(_portion, work):
            yield from verdicts


def _portion(work):
    seeds, folder = work
    return [run_case(seed, folder) for seed in seeds]


def table(totals):
    """The totals by kind of source, as lines of text."""
    rows = [("source", *COLUMNS)]
    for name in sorted(totals):
        rows.append((name, *(str(totals[name][column]) for column in COLUMNS)))
    rows.append(("all", *(str(sum(total[column] for total in totals.values())) for column in COLUMNS)))
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return ["  ".join(cell.rjust(width) if i else cell.ljust(width)
                      for i, (cell, width) in enumerate(zip(row, widths, strict=True))) for row in rows]


def describe(seed):
    """What a seed's case is made of, for the one who looks into a failure."""
    case = cases.make_case(seed)
    expected = case.expected()
    print(f"seed {seed}: {case.name}, {len(case.image)} bytes: {'; '.join(case.image.done)}")
    for log in case.logs:
        data = [block for block in log.blocks if not block.is_parity]
        torn = [block.place for block in log.torn]
        print(f"  log of flight {log.flight.hex()}: depth {log.depth}, rate {log.rate}, {len(data)} blocks "
              f"and {len(log.blocks) - len(data)} of parity in {len(log.texts)} boots, torn at places {torn}")
    print(f"  {len(case.packets)} packets sent, {len(expected.packets)} survive, "
          f"{len(expected.chance)} by chance")
    print(f"  {len(expected.alive)} blocks survive, {len(expected.rebuilt - expected.alive)} can be rebuilt, "
          f"{len(expected.repairable)} repaired")


def main(arguments=None):
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--cases", type=int, default=2000, help="how many, 2000 if not given")
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--seed", type=int, help="run this one only and describe it")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    options = parser.parse_args(arguments)
    seeds = list(range(options.first, options.first + options.cases))
    if options.seed is not None:
        seeds = [options.seed]
        describe(options.seed)
    began, totals, failed = time.monotonic(), defaultdict(Counter), []
    with TemporaryDirectory() as folder:
        for verdict in run(seeds, options.jobs, folder):
            total = totals[verdict.name]
            total.update(verdict.counts)
            total["cases"] += 1
            if verdict.failures:
                total["failed"] += 1
                failed.append(verdict)
    print("\n".join(table(totals)))
    for verdict in sorted(failed, key=lambda verdict: verdict.seed):
        for words in verdict.failures:
            print(f"FAILED seed {verdict.seed} ({verdict.name}): {words}")
    print(f"{len(seeds)} cases, {len(failed)} failed, {time.monotonic() - began:.0f} s")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
