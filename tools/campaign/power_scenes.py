"""The parts of a flight in which the power is cut: where each begins, on which card, and what happens uncut.

A short real flight (the balloon of the demo's mission, bursting early) is flown once from power-on to rest.
Each scene begins with a boot in the middle of it, on the card as it was then.
"""

import shutil
from dataclasses import dataclass, field, replace
from pathlib import Path

from ground.mission.load import load_mission
from onboard.firmware.region import LogRegion
from onboard.simulator import runners
from onboard.simulator.prepare import CARD_NAME, DRIFT_PPM, prepare
from protocol.tick import TICK_PERIOD
from tools.campaign.power_machine import SECTOR, Run

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "onboard" / "simulator" / "napraforgo-1.toml"
SEED = 5
WAIT_S, AFTER_S = 60.0, 150.0
BURST_DIAMETER_M = 1.73
WRAP_MS = 6000  # of the scene with this name, from power-on
FULL_SECTORS = 24  # that are left in the scene with this name
STRIPE = 176  # places, at the usual parity
DIRECTORY_NAME, DIRECTORY_SIZE = b"LOFTBOOKLOG", 28  # the entry, and where its size stands in it


@dataclass(frozen=True)
class Scene:
    """A part of the flight that begins with a boot.

    world_ms, until_ms: of the tape; tick: the board's at power-on; base: the card before, {sector: 512 bytes}
    against an empty one; run: what happens without a cut; change_ms: tape's time at which the phase changes,
    None if it does not; phase: in the end; room: sectors of the log; share: of all cuts.
    """

    name: str
    world_ms: int
    until_ms: int
    tick: int
    base: dict
    run: Run
    change_ms: int | None
    phase: int
    room: int
    share: float

    @property
    def boot_fuel(self):
        """Instructions until the tasks run."""
        return next(fuel for fuel, word in self.run.words if word == "booted")


@dataclass
class Flight:
    """A prepared folder, the staged interpreter's files, and the card. start, count: of the log, sectors."""

    folder: Path
    staged: Path
    empty: bytes  # the card's image up to the log, without it
    start: int
    count: int
    whole: Run = None
    scenes: list = field(default_factory=list)

    def words(self, world_ms, until_ms, tick):
        """The command line of power_fly.py."""
        return ["/staged/power_fly.py", "/flight", world_ms, until_ms, tick, DRIFT_PPM]

    def folders(self, folder=None):
        """What the interpreter sees of the disk."""
        return {self.staged: "/staged", folder or self.folder: "/flight"}


class Disk:
    """A flight folder with a card image of its own that can be set to any state."""

    def __init__(self, flight, folder):
        self.flight, self.folder = flight, Path(folder)
        if self.folder != flight.folder:
            shutil.copytree(flight.folder, self.folder)
        self._path = self.folder / CARD_NAME
        self._now = None

    def set(self, state):
        """Put a state on the card: {sector: 512 bytes}, everything else as on the empty card."""
        empty = self.flight.empty.ljust(self.flight.start * SECTOR, b"\0")
        with open(self._path, "r+b") as file:
            if self._now is None:
                size = file.seek(0, 2)
                file.truncate(0)
                file.truncate(size)
                file.seek(0)
                file.write(empty)
                self._now = {}
            for sector in [sector for sector in self._now if sector not in state]:
                file.seek(sector * SECTOR)
                file.write(empty[sector * SECTOR:(sector + 1) * SECTOR] or bytes(SECTOR))
            for sector, data in state.items():
                if self._now.get(sector) != data:
                    file.seek(sector * SECTOR)
                    file.write(data)
        self._now = dict(state)

    def fly(self, machine, words, *fuel):
        """Run on this card. Returns the Run."""
        run = machine.run(words, self.flight.folders(self.folder), *fuel)
        self._now.update((write.sector, write.data) for write in run.writes)
        return run

    def differs(self, state):
        """The first sector of the image that is not as in this state; -1 if all are."""
        empty = self.flight.empty
        with open(self._path, "rb") as file:
            data = file.read((self.flight.start + self.flight.count) * SECTOR)
        for sector in range(len(data) // SECTOR):
            piece = slice(sector * SECTOR, (sector + 1) * SECTOR)
            if data[piece] != state.get(sector, empty[piece].ljust(SECTOR, b"\0")):
                return sector
        return -1


def prepare_short_flight(folder, **sections):
    """Prepare the demo's flight with an early burst in a new folder. Returns the simulator's Truth.

    sections: of the mission that are to be others.
    """
    mission = load_mission(DEMO)
    balloon = replace(mission.balloon, burst_diameter_m=BURST_DIAMETER_M)
    mission = replace(mission, balloon=balloon, **sections)
    return prepare(mission, SEED, folder, wait_s=WAIT_S, after_s=AFTER_S, mission_folder=DEMO.parent)


def make_flight(machine, folder, until_s=None):
    """Prepare the flight in a folder that does not exist yet, and fly it whole, or until so many seconds.

    Returns (a Flight without scenes, the simulator's Truth).
    """
    folder = Path(folder)
    folder.mkdir()
    truth = prepare_short_flight(folder / "flight")
    runners.stage(folder / "staged")
    shutil.copy(Path(__file__).with_name("power_fly.py"), folder / "staged")
    with open(folder / "flight" / CARD_NAME, "rb") as file:
        region = LogRegion(_Reader(file))
        file.seek(0)
        empty = file.read(region.start * SECTOR)
    flight = Flight(folder / "flight", folder / "staged", empty, region.start, region.count)
    end_ms = int(truth.time_s[-1] * 1000) if until_s is None else int(until_s * 1000)
    disk = Disk(flight, flight.folder)
    disk.set({})
    flight.whole = disk.fly(machine, flight.words(0, end_ms, 0))
    return flight, truth


def make_scenes(machine, flight, truth, names=None):
    """Fly the scenes uncut, all or those of these names, and add them to the flight."""
    release_s, burst_s, landing_s = truth.release.time_s, truth.burst.time_s, truth.landing.time_s
    parity_s = _time_of_place(flight, STRIPE - 16 - 12)
    disk = Disk(flight, flight.folder)
    for name, start_s, seconds, phase, changes, share in (
        ("first boot", 0, 12, 0, False, 0.14),
        ("waiting", 20, 10, 0, False, 0.10),
        ("launch", release_s - 6, 48, 1, True, 0.16),
        ("climb", release_s + 70, 25, 1, False, 0.12),
        ("parity", parity_s, 30, 1, False, 0.14),
        ("burst", burst_s - 8, 40, 2, True, 0.14),
        ("landing", landing_s - 12, 90, 3, True, 0.10),
        ("full card", release_s + 80, 25, 1, False, 0.05),
        ("clock wraps", release_s + 90, 12, 1, False, 0.05),
    ):  # fmt: skip
        if names is not None and name not in names:
            continue
        world_ms = int(start_s * 1000)
        until_ms = world_ms + seconds * 1000
        tick = TICK_PERIOD - WRAP_MS if name == "clock wraps" else 0
        base = _card_at(flight, world_ms)
        room = flight.count
        if name == "full card":
            room = _places(base, flight.start) + FULL_SECTORS
            base |= _shortened(flight, room)
        disk.set(base)
        run = disk.fly(machine, flight.words(world_ms, until_ms, tick))
        change_ms = _phase_change_ms(run) if changes else None
        flight.scenes.append(
            Scene(name, world_ms, until_ms, tick, base, run, change_ms, phase, room, share)
        )


class _Reader:
    # A card over an open file, to ask where the log lies.

    def __init__(self, file):
        self._file = file

    def readblocks(self, number, buffer):
        self._file.seek(number * SECTOR)
        self._file.readinto(buffer)


def time_at(run, fuel):
    """(world ms, tick) of the first mark behind this fuel, of the last one if there is none."""
    for at, world_ms, tick in run.marks:
        if at >= fuel:
            return world_ms, tick
    return run.marks[-1][1:]


def _places(state, start):
    # Sectors of the log up to the last one that is written.
    return max((sector + 1 - start for sector in state if sector >= start), default=0)


def _card_at(flight, world_ms):
    # The card as it was when the whole flight's tape stood there.
    run = flight.whole
    fuel = next((at for at, now_ms, _ in run.marks if now_ms >= world_ms), run.fuel) if world_ms else 0
    return {write.sector: write.data for write in run.writes if write.fuel < fuel}


def _time_of_place(flight, place):
    for write in flight.whole.writes:
        if write.sector == flight.start + place:
            return time_at(flight.whole, write.fuel)[0] / 1000
    return 0


def _phase_change_ms(run):
    # The phase of the last blocks against the first ones: when did it change?
    before = None
    for write in run.writes:
        if write.data[5] & 1:
            continue
        phase = write.data[28]
        if before is not None and phase != before:
            return time_at(run, write.fuel)[0]
        before = phase
    raise ValueError("the phase does not change where it should")


def _shortened(flight, sectors):
    # The directory entry of a log of so many sectors.
    at = flight.empty.index(DIRECTORY_NAME)
    number = at // SECTOR
    sector = bytearray(flight.empty[number * SECTOR:(number + 1) * SECTOR])
    at = at % SECTOR + DIRECTORY_SIZE
    sector[at:at + 4] = (sectors * SECTOR).to_bytes(4, "little")
    return {number: bytes(sector)}

