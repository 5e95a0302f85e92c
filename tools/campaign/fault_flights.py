"""Short flights with faults: prepare one, fly it with a schedule, read its card."""

import dataclasses
import importlib.util
import os
import shutil
import zlib
from dataclasses import dataclass
from pathlib import Path

from ground.mission import load_mission
from ground.mission.sections import Barometer, Downlink, OutsideTemperature, Probe
from onboard.simulator import runners
from onboard.simulator.board.modem import TIMES_NAME
from onboard.simulator.commands import DEMO_MISSION
from onboard.simulator.prepare import CARD_NAME, add_faults, prepare
from protocol.block import BLOCK_SIZE
from tools.campaign.fault_cases import LENGTH_MS, PHASES, SHIFT_MS

WAIT_S, AFTER_S = 75.0, 170.0
DOWNLINK_S = 5  # between two beacons
BURST_DIAMETER_M = 1.65  # a burst at about 800 m
_DECODER = Path(__file__).resolve().parents[1] / "plain_decoder.py"
_TICK_PERIOD = 2**29  # FORMAT.md
RESET_AFTER_MS, RESET_MS = 5_000, 2_000  # within the window of the fault


def _load_decoder():
    spec = importlib.util.spec_from_file_location("plain_decoder", _DECODER)
    decoder = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(decoder)
    decoder.crc32 = zlib.crc32  # the decoder's own is proven by its tests, and slow
    return decoder


plain = _load_decoder()


def first_mission():
    """The demo's payload with a downlink, on a low balloon."""
    mission = load_mission(DEMO_MISSION)
    return dataclasses.replace(
        mission, balloon=dataclasses.replace(mission.balloon, burst_diameter_m=BURST_DIAMETER_M),
        downlink=Downlink(period_s=DOWNLINK_S, landed_period_s=DOWNLINK_S),
    )  # fmt: skip


def other_mission():
    """The same with a BMP280, a TMP117, two DS18B20 and a receiver that is set by UBX."""
    mission = first_mission()
    return dataclasses.replace(
        mission,
        barometer=Barometer(chip="bmp280", address=0x76),
        outside_temperature=OutsideTemperature(chip="tmp117"),
        probes=(Probe("foam", "28ff641e8d3c0c2b"), Probe("cell", "28ff641e8d3c0d1c")),
        gnss=dataclasses.replace(mission.gnss, chip="ubx"),
    )


@dataclass(frozen=True)
class Record:
    """A record: time on the tape in ms, reckoned from its boot's start, and values, None where missing."""

    boot: int
    kind: str
    time_ms: int
    values: dict


class Course:
    """A prepared flight. windows: (phase, time on the tape in ms) at which faults begin."""

    def __init__(self, mission, folder, seed=1):
        self.folder = Path(folder)
        self.truth = prepare(mission, seed, self.folder, wait_s=WAIT_S, after_s=AFTER_S)
        truth = self.truth
        starts_s = (45.0, truth.release.time_s + 60, truth.burst.time_s + 45, truth.landing.time_s + 85)
        self.windows = [(phase, round(1000 * start)) for phase, start in zip(PHASES, starts_s, strict=True)]
        self.end_ms = int(truth.time_s[-1] * 1000)

    def rows(self, cases):
        """The schedule of some cases in every phase, and each one's window.

        Returns ([row], {(phase, case): (start, stop)}).
        """
        rows, when = [], {}
        for phase, start_ms in self.windows:
            for place, case in enumerate(cases):
                start, stop = start_ms + place * SHIFT_MS, start_ms + place * SHIFT_MS + LENGTH_MS
                if case.kind == "reset":
                    start, stop = start + RESET_AFTER_MS, start + RESET_AFTER_MS + RESET_MS
                rows.append([case.kind, case.target, start, stop, case.number])
                when[phase, case] = (start, stop)
        return rows, when

    def fly(self, rows, folder, interpreter="cpython", staged=None):
        """Fly with a schedule in a new folder. Raises whatever ends the loop.

        Returns the card's image and the downlink's writes as (time in ms, bytes).
        """
        folder = Path(folder)
        folder.mkdir()
        for path in self.folder.iterdir():
            if path.name in (CARD_NAME, "board.json"):
                shutil.copy(path, folder)
            else:
                os.link(path, folder / path.name)
        add_faults(folder, rows)
        if interpreter == "cpython":
            runners.run_in_process(folder)
        elif interpreter == "unix":
            runners.run_on_unix(folder, staged)
        else:
            runners.run_on_wasm(folder, staged)
        image = (folder / CARD_NAME).read_bytes()
        lines = [line.split() for line in (folder / TIMES_NAME).read_text("ascii").splitlines()]
        shutil.rmtree(folder)
        return image, [(int(begin), int(count)) for begin, _, count in lines]


def read(image, rows):
    """All records of a card, in the order in which they stand there.

    rows: of the schedule, for the times at which boots began. Returns (records, numbers of the blocks by boot).
    """
    starts = {1: 0}
    for number, row in enumerate(sorted((row for row in rows if row[0] == "reset"), key=lambda row: row[2])):
        starts[number + 2] = row[3]
    written = image.rstrip(b"\0")
    first = image.find(plain.MAGIC)
    records, numbers = [], {}
    written = written[first:] + bytes(BLOCK_SIZE)  # the last block may end in zeros
    for _, _, header, found in plain.scan(written):
        if header["flags"]:
            continue
        numbers.setdefault(header["boot"], []).append(header["number"])
        for kind, tick, values in found:
            tick -= _TICK_PERIOD if tick > _TICK_PERIOD // 2 else 0  # an epoch may have begun before the boot
            records.append(Record(header["boot"], kind, starts[header["boot"]] + tick, values))
    return records, numbers
