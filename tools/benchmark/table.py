"""Timing contestants against each other, and printing tables."""

import argparse
import gc
from statistics import median
from time import process_time


def interleaved(contestants, rounds, check):
    """Run all contestants once a round, so that a slow moment of the machine meets them all alike.

    contestants: name to a callable without arguments; check: called with name and result in the first
    round. Returns name to median time in s: time of the processor, which other work on the machine disturbs
    least.
    """
    times = {name: [] for name in contestants}
    for turn in range(rounds):
        for name, run in contestants.items():
            gc.collect()
            start = process_time()
            result = run()
            times[name].append(process_time() - start)
            if turn == 0:
                check(name, result)
            del result
    return {name: median(list_s) for name, list_s in times.items()}


def parser_of(description, quick):
    """The parser of a benchmark's command line. quick: what --quick means."""
    parser = argparse.ArgumentParser(
        description=description, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--quick", action="store_true", help=quick)
    return parser


def print_table(heads, rows, texts=1):
    """Columns under heads; the first, which hold texts, are on the left, the others on the right."""
    lines = [list(heads), *([str(cell) for cell in row] for row in rows)]
    widths = [max(len(line[i]) for line in lines) for i in range(len(heads))]
    for line in lines:
        cells = [
            cell.ljust(width) if i < texts else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(line, widths, strict=True))
        ]
        print("  ".join(cells).rstrip())


def agree(sums, name, truth):
    """Raise SystemExit unless a contestant read the same numbers. sums, truth: kind number to sums of its
    columns.
    """
    if sums != truth:
        wrong = sorted(number for number in {*sums, *truth} if sums.get(number) != truth.get(number))
        raise SystemExit(f"{name}: the sums of the columns of kinds {wrong} differ from those of the log")
