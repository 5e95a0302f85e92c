"""The log of one flight, flown by the real firmware on this interpreter, and what is in it."""

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from zlib import crc32

import numpy as np

from ground.layout import BLOCK_DTYPE, OWN_KINDS
from ground.mission import load_mission
from ground.recover import recover_source
from onboard.simulator.demo import DEMO_MISSION
from onboard.simulator.prepare import CARD_NAME, prepare
from onboard.simulator.runners import run_in_process
from protocol.block import BLOCK_LIMIT, BLOCK_MAGIC, BLOCK_SIZE, is_whole
from protocol.tick import TICK_MASK

SEED = 1
QUICK_PERMILLE = 40  # of the flight, for a quick run
BLOCK_TIME_MS = 2000  # between the last block of a flight and the first of its repetition
NUMBERS = tuple(kind for kind in OWN_KINDS if not any(field.missing is None for field in kind.fields))


class _Enough(Exception):
    """The flight has gone on for long enough."""


def flown_log(quick=False, parity=True):
    """The blocks that a flight of the demo leaves on its card, as bytes; quick: only its beginning."""
    mission = load_mission(DEMO_MISSION)
    if not parity:
        mission = replace(mission, parity=replace(mission.parity, depth=0))

    def progress(permille):
        if quick and permille >= QUICK_PERMILLE:
            raise _Enough

    with tempfile.TemporaryDirectory() as base:
        folder = Path(base) / "flight"
        prepare(mission, SEED, folder)
        try:
            run_in_process(folder, progress)
        except _Enough:
            pass
        card = (folder / CARD_NAME).read_bytes()
    sectors = (card[at:at + BLOCK_SIZE] for at in range(0, len(card), BLOCK_SIZE))
    return b"".join(block for block in sectors if block.startswith(BLOCK_MAGIC) and is_whole(block))


def lengthened_log(log, megabytes):
    """A log without parity repeated to about this many megabytes, as one long boot: numbers, places and ticks
    rise.
    """
    blocks = np.frombuffer(log, BLOCK_DTYPE)
    times = max(1, round(megabytes * 1e6 / len(log)))
    longer = np.tile(blocks, times)
    longer["number"] = longer["place"] = np.arange(len(longer))
    period_ms = int(blocks["tick"][-1]) - int(blocks["tick"][0]) + BLOCK_TIME_MS
    later_ms = np.repeat(np.arange(times) * period_ms, len(blocks))
    longer["tick"] = (longer["tick"] + later_ms) & TICK_MASK
    data = memoryview(longer.tobytes())
    longer["crc"] = [crc32(data[at:at + BLOCK_LIMIT]) for at in range(0, len(data), BLOCK_SIZE)]
    return longer.tobytes()


@dataclass
class Contents:
    """What a log says, without its manifest, which the other formats are spared.

    tables: kind name to KindRecords, kinds of numbers only.
    """

    tables: dict

    @property
    def count(self):
        """Number of records."""
        return sum(len(table.tick_ms) for table in self.tables.values())

    def rows(self):
        """All records in the order of their ticks: list of (kind number, tick in ms, stored integers...)."""
        rows = [
            (table.layout.number, tick_ms, *values)
            for table in self.tables.values()
            for tick_ms, values in zip(table.tick_ms.tolist(), table.values.tolist(), strict=True)
        ]
        return sorted(rows, key=lambda row: row[1])

    def sums(self):
        """Kind number to the sums of its columns, the tick first."""
        return {
            table.layout.number: [int(column.sum()) for column in columns_of(table)]
            for table in self.tables.values()
        }


def columns_of(table):
    """The columns of KindRecords as int64 arrays, the tick first."""
    return [table.tick_ms, *(table.values[name].astype(np.int64) for name in table.values.dtype.names)]


def contents_of(path):
    """Contents of a log in a file, as recovery reads it."""
    recovered = recover_source(path)
    [boot] = recovered.boots
    names = {kind.name for kind in NUMBERS}
    return Contents({name: table for name, table in boot.records.items() if name in names})
