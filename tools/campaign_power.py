"""Cut the power of a flying logger at any executed instruction, boot again and go on; then recover all boots.

    python tools/campaign_power.py                      5,000 cuts, a table, exit code 1 on any failure
    python tools/campaign_power.py --seed 17            one cut, with all that is known of it

The logger runs on real MicroPython (WebAssembly, 32 bits), which wasmtime stops at the chosen instruction.
Only the card outlives a cut. So each part of the flight is flown once uncut with all its writes noted, and a
cut leaves the writes before it; every `--real`th cut is really made as well, and must leave the same card to
the byte. Every boot after a cut is really booted, and two in five are cut again.
"""

import argparse
import multiprocessing
import sys
import time
import traceback
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tools.campaign import power_scenes  # noqa: E402
from tools.campaign.power_card import ANY_SUBSET, IN_ORDER, LAST_TORN, after_cut  # noqa: E402
from tools.campaign.power_judge import Life, boot_faults, missing_ms, phase_on, recovery_faults  # noqa: E402
from tools.campaign.power_machine import Machine  # noqa: E402
from tools.campaign.power_scenes import Disk, time_at  # noqa: E402

COLUMNS = (
    "cuts", "by fuel", "boots", "cut again", "blocks", "lost", "restored", "phase found", "missing ms",
    "failed",
)
LARGEST = "missing ms"  # this column is a maximum
OFF_MS = (200, 3000)  # without power, between two boots
GO_ON_MS = 4000  # that a boot after a cut flies on
PHASE_MS = 75_000  # after a phase change, in which a boot must have found it
PHASE_EVERY = 8  # so many cases of a scene with a change wait for that
BOOT_SHARE = (8, 120)  # percent of a boot in which it may be cut: from before the logger to the first samples
NEAR_FUEL = 300_000  # of a cut near a write; to close and write a block takes some ten times that
AGAIN, DEEPEST = 0.4, 3  # chance of one more cut, and how many there may be


@dataclass
class Verdict:
    """Numbers of one case, and what went wrong, in words."""

    seed: int
    name: str
    what: str = ""
    counts: Counter = field(default_factory=Counter)
    failures: list = field(default_factory=list)


def run_case(seed, machine, disk, real):
    """Verdict on the cut of a seed; whatever is raised is a failure of it."""
    rng = Random(seed)
    scenes = disk.flight.scenes
    scene = rng.choices(scenes, [scene.share for scene in scenes])[0]
    verdict = Verdict(seed, scene.name)
    try:
        _cut(rng, verdict, scene, machine, disk, real)
    except Exception as error:
        where = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{Path(where.filename).name}:{where.lineno}"
        verdict.failures.append(f"{type(error).__name__}: {error} ({place})")
    return verdict


def cut_fuel(rng, scene):
    """(fuel of a cut, what the card does): in a write, near one, in the boot, near the change of the phase,
    anywhere.
    """
    run = scene.run
    where = rng.random()
    if where < 0.35:
        return rng.choice(run.writes).fuel + 1 + rng.randrange(1000), LAST_TORN
    manner = rng.choice((IN_ORDER, ANY_SUBSET))
    if where < 0.6:
        return rng.choice(run.writes).fuel + rng.randrange(-NEAR_FUEL, NEAR_FUEL), manner
    if where < 0.75:
        return rng.randrange(scene.boot_fuel), manner
    if where < 0.87 and scene.change_ms:
        near = [fuel for fuel, world_ms, _ in run.marks if abs(world_ms - scene.change_ms) < 4000]
        return rng.randrange(near[0], near[-1]), manner
    return rng.randrange(run.fuel), manner


def _cut(rng, verdict, scene, machine, disk, real):
    counts, flight = verdict.counts, disk.flight
    fuel, manner = cut_fuel(rng, scene)
    verdict.what = f"cut at {fuel} of {scene.run.fuel}, {manner}"
    done = [write for write in scene.run.writes if write.fuel < fuel]
    world_ms, tick = time_at(scene.run, fuel)
    if verdict.seed % real == 0:
        counts["by fuel"] += 1
        _cut_really(verdict, scene, machine, disk, fuel, done)
    lives = [Life(scene.base, scene.tick, tick, done, scene.run.writes[len(done):])]
    state, lost = after_cut(rng, scene.base, done, manner)
    counts["cuts"] += 1
    counts["lost"] += len(lost)
    is_last = False
    while not is_last:
        is_last = len(lives) >= DEEPEST or rng.random() >= AGAIN
        waits = is_last and scene.change_ms is not None and verdict.seed % PHASE_EVERY == 0
        world_ms += rng.randrange(*OFF_MS)
        until_ms = world_ms + GO_ON_MS
        if waits and phase_on(state) != scene.phase:
            until_ms = max(until_ms, scene.change_ms + PHASE_MS)
        disk.set(state)
        fuel = () if is_last else (scene.boot_fuel * rng.randrange(*BOOT_SHARE) // 100,)
        run = disk.fly(machine, flight.words(world_ms, until_ms, 0), *fuel)
        world_ms, tick = run.marks[-1][1:] if run.marks else (world_ms, 0)
        lives.append(Life(state, 0, tick, run.writes))
        manner = IN_ORDER if is_last else rng.choice((IN_ORDER, LAST_TORN, ANY_SUBSET))
        state, lost = after_cut(rng, state, run.writes, manner)
        counts["boots"] += 1
        counts["cut again"] += not is_last
        counts["lost"] += len(lost)
        verdict.what += f"; boot to {run.fuel}, {manner}"
    if waits:
        counts["phase found"] += 1
        if phase_on(state) != scene.phase:
            verdict.failures.append(f"the phase is {phase_on(state)} in the end, not {scene.phase}")
    _judge(verdict, lives, state, flight, disk.folder / "log.bin", scene.room)


def _judge(verdict, lives, state, flight, path, room):
    counts = verdict.counts
    for life in lives:
        written = (*life.before, *(write.sector for write in life.writes))
        life.has_room = max(written, default=0) < flight.start + room - 1
        counts["blocks"] += len(life.writes)
        if life.has_room:
            counts[LARGEST] = max(counts[LARGEST], missing_ms(life))
        verdict.failures += boot_faults(life, flight.start)
    faults, counts["restored"] = recovery_faults(path, lives, state, flight.start)
    verdict.failures += faults


def _cut_really(verdict, scene, machine, disk, fuel, done):
    # The equivalence on which the other cuts rest: what was noted of the uncut run is what a cut leaves.
    disk.set(scene.base)
    run = disk.fly(machine, disk.flight.words(scene.world_ms, scene.until_ms, scene.tick), fuel)
    if not run.is_cut or run.writes != done:
        verdict.failures.append("a real cut does not leave the writes that were noted of the uncut run")
    wrong = disk.differs(scene.base | {write.sector: write.data for write in done})
    if wrong >= 0:
        verdict.failures.append(f"a real cut leaves another sector {wrong}")


_WORKER = {}


def _begin(flight, folder, real):
    _WORKER.update(
        machine=Machine(), disk=Disk(flight, Path(folder) / multiprocessing.current_process().name), real=real
    )


def _one(seed):
    return run_case(seed, **_WORKER)


def run(seeds, jobs, real, folder, names=None, until_s=None):
    """Yield the Verdicts of all seeds, in any order.

    real: every so many cuts are really made; names: of the scenes; until_s: how far the flight is needed for
    them.
    """
    machine = Machine()
    flight, truth = power_scenes.make_flight(machine, Path(folder) / "flight", until_s)
    power_scenes.make_scenes(machine, flight, truth, names)
    if jobs == 1:
        disk = Disk(flight, Path(folder) / "disk")
        yield from (run_case(seed, machine, disk, real) for seed in seeds)
        return
    # A process forked from one in which wasmtime has compiled would lack its threads.
    with multiprocessing.get_context("spawn").Pool(jobs, _begin, (flight, folder, real)) as pool:
        yield from pool.imap_unordered(_one, seeds, 8)


def table(totals):
    """The totals by scene, as lines of text."""
    rows = [("part of the flight", *COLUMNS)]
    for name in [*sorted(totals), "all"]:
        parts = totals.values() if name == "all" else [totals[name]]
        cells = [(max if column == LARGEST else sum)(part[column] for part in parts) for column in COLUMNS]
        rows.append((name, *map(str, cells)))
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return ["  ".join(cell.rjust(width) if i else cell.ljust(width)
                      for i, (cell, width) in enumerate(zip(row, widths, strict=True))) for row in rows]


def main(arguments=None):
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--cuts", type=int, default=5000, help="how many, 5000 if not given")
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--seed", type=int, help="run this one only and describe it")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--real", type=int, default=3, help="one cut in so many is really made, 3")
    options = parser.parse_args(arguments)
    seeds = range(options.first, options.first + options.cuts)
    if options.seed is not None:
        seeds = [options.seed]
    began, totals, failed = time.monotonic(), defaultdict(Counter), []
    with TemporaryDirectory() as folder:
        for verdict in run(seeds, options.jobs, options.real, folder):
            total = totals[verdict.name]
            largest = max(total[LARGEST], verdict.counts[LARGEST])
            total.update(verdict.counts)
            total[LARGEST] = largest
            if verdict.failures:
                total["failed"] += 1
                failed.append(verdict)
            if options.seed is not None:
                print(f"seed {verdict.seed}: {verdict.name}, {verdict.what}")
    print("\n".join(table(totals)))
    for verdict in sorted(failed, key=lambda verdict: verdict.seed):
        for words in verdict.failures:
            print(f"FAILED seed {verdict.seed} ({verdict.name}, {verdict.what}): {words}")
    print(f"{len(seeds)} cuts, {len(failed)} failed, {time.monotonic() - began:.0f} s")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
